// What every page with a micrograph shares: the picture at every scale, places in pixels, the scale bar, the cross.

export const TILE = 512;

/** The tiles of one address: zoom 0 is full resolution, -1 half of it, and so on. */
export function tiles(L, address, levels, options) {
  const layer = L.tileLayer(address, {
    tileSize: TILE, minNativeZoom: 1 - levels, maxNativeZoom: 0, minZoom: -12, maxZoom: 4, noWrap: true, keepBuffer: 3, ...options,
  });
  layer.getTileUrl = (at) => address.replace(/0\/0\/0(\.\w+)$/, `${-at.z}/${at.x}/${at.y}$1`);
  return layer;
}

/** A micrograph in its place on a page: `data-width`, `-height`, `-levels`, `-tiles`, and `-pixel-um` where it is known. */
export class Picture {
  constructor(root, place = root.querySelector("[data-map]")) {
    this.root = root;
    this.place = place;
    this.L = window.L;
    this.width = Number(root.dataset.width);
    this.height = Number(root.dataset.height);
    this.levels = Number(root.dataset.levels);
    this.pixel = Number(root.dataset.pixelUm) || 0;
    this.bounds = this.L.latLngBounds(this.at(0, 0), this.at(this.width, this.height));
    place.replaceChildren();
    this.map = this.L.map(place, {
      crs: this.L.CRS.Simple, zoomSnap: 0.25, zoomDelta: 0.5, preferCanvas: true, attributionControl: false, zoomControl: false,
      minZoom: -this.levels - 1, maxZoom: 4, maxBounds: this.bounds.pad(0.3), keyboardPanDelta: 40, zoomAnimation: false, fadeAnimation: false,
    });
    tiles(this.L, root.dataset.tiles, this.levels, { bounds: this.bounds }).addTo(this.map);
    this.map.createPane("classes").style.zIndex = 300;
    this.map.fitBounds(this.bounds);
    this.cross = document.createElement("div");
    this.cross.className = "viewer-cross";
    place.append(this.cross);
    this.map.on("zoomend", () => this.tellScale());
    this.listenToZoom();
    this.tellScale();
  }

  /** Buttons beside wheel, pinch and keys: nearer, farther, one pixel of the picture on one of the screen. */
  listenToZoom() {
    if (this.root.dataset.zooms) return; // of pictures that move together the first one leads
    this.root.dataset.zooms = "true";
    this.find("nearer")?.addEventListener("click", () => this.map.zoomIn(1));
    this.find("farther")?.addEventListener("click", () => this.map.zoomOut(1));
    this.find("one-to-one")?.addEventListener("click", () => this.map.setZoom(0));
  }

  find(name) { return this.root.querySelector(`[data-${name}]`); }

  at(x, y) { return this.L.latLng(-y, x); }

  box(left, top, width, height) { return this.L.latLngBounds(this.at(left, top), this.at(left + width, top + height)); }

  /** The place in pixels, kept inside the picture and set to a tenth. */
  pixels({ lat, lng }) {
    const clamp = (value, most) => Math.round(Math.min(Math.max(value, 0), most) * 10) / 10;
    return [clamp(lng, this.width), clamp(-lat, this.height)];
  }

  layer(address, options = {}) {
    return tiles(this.L, address, this.levels, { bounds: this.bounds, pane: "classes", ...options }).addTo(this.map);
  }

  whole() { this.map.fitBounds(this.bounds); }

  tellScale() {
    this.place.classList.toggle("near", this.map.getZoom() >= 1);
    const bar = this.find("bar");
    if (!bar) return;
    const perPixel = 2 ** -this.map.getZoom() * (this.pixel || 1);
    const wanted = perPixel * 120;
    const ten = 10 ** Math.floor(Math.log10(wanted));
    const length = [5, 2, 1].map((n) => n * ten).find((n) => n <= wanted) || ten;
    bar.style.width = `${Math.round(length / perPixel)}px`;
    bar.textContent = `${Number(length.toPrecision(3))} ${this.pixel ? "µm" : "px"}`;
  }
}
