// Chooses cycles by hand: a click on the capacity figure adds the cycle that is pointed at, a stretch that is dragged
// over gives up to six cycles spread over it. The form with the chosen cycles is then sent; it works without this too.

const MOST = 6;
const form = document.querySelector("[data-chosen-cycles]");
const drawing = document.querySelector("#capacity svg.drawing");
const box = form?.elements.namedItem("cycles");
let pointed = null;

function chosen() {
  return box.value.split(/[\s,;]+/).filter(Boolean).map(Number).filter(Number.isInteger);
}

function send(cycles) {
  box.value = [...new Set(cycles)].sort((a, b) => a - b).slice(-MOST).join(", ");
  form.requestSubmit();
}

if (form && drawing && form.elements.namedItem("across").value === "cycle") {
  drawing.addEventListener("figure:focus", (event) => { pointed = event.detail.key || event.detail.name ? event.detail.x : null; });
  drawing.addEventListener("click", () => { if (pointed !== null) send([...chosen(), Math.round(pointed)]); });
  drawing.addEventListener("figure:brush", (event) => {
    const { low, high } = event.detail;
    if (low === null) return;
    const count = Math.max(1, Math.min(MOST, Math.floor(high) - Math.ceil(low) + 1));
    const spread = Array.from({ length: count }, (_, k) => Math.round(Math.ceil(low) + (k * (Math.floor(high) - Math.ceil(low))) / Math.max(1, count - 1)));
    send(spread);
  });
}
