"""One field of view, from greys to numbers."""

from math import hypot

import numpy as np

from teardown.science.errors import MeasurementError
from teardown.science.estimate import Estimate
from teardown.science.stereology.classes import Levels
from teardown.science.stereology.edge_shapes import edge_shape
from teardown.science.stereology.edges import Relief
from teardown.science.stereology.evening import Calmed, Evened, Known, Shelf
from teardown.science.stereology.facts import Facts, enclosed_bright, open_sides, opened
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.flags import raise_flags
from teardown.science.stereology.gaps import gap_curve
from teardown.science.stereology.interfaces import Sums, add_up
from teardown.science.stereology.levels import LevelSearch, find_levels, with_levels
from teardown.science.stereology.light import Light
from teardown.science.stereology.mosaics import LARGEST_WHOLE, See, segment_any_size
from teardown.science.stereology.noise import Grey, Mask
from teardown.science.stereology.outline import doubt_of
from teardown.science.stereology.picture_flags import hidden_film
from teardown.science.stereology.ratios import BY_KEY, Parts, parts_of
from teardown.science.stereology.rims import sizes_at
from teardown.science.stereology.sampling import RatioError, ratio_error
from teardown.science.stereology.segmentation import Segmentation, place_of
from teardown.science.stereology.sensitivity import (
    Sensitivity,
    Slopes,
    threshold_sensitivity,
    with_outline,
)
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.structure import structure_of
from teardown.science.stereology.tallies import (
    cells_of_all,
    outline_factor_of,
    rims_of_all,
    sums_of_tiles,
)
from teardown.science.stereology.trained import Trained, read_trained
from teardown.science.stereology.windows import (
    TILE_PX,
    ArraySource,
    Source,
    Window,
    count_valid,
    middle_window,
)

SMALLEST_SIDE = 64


class FieldTooSmall(MeasurementError):
    """The picture is too small to be measured."""

    code = "stereology.E013"
    hint = f"At least {SMALLEST_SIDE} by {SMALLEST_SIDE} pixels of section are needed."


def measure_field(
    grey: Grey,
    *,
    pixel_size_um: float | None = None,
    valid: Mask | None = None,
    levels: Levels | None = None,
    settings: Settings | None = None,
    trained: Trained | None = None,
    known: Known | None = None,
    shelf: Shelf | None = None,
) -> FieldResult:
    """Measure porosity, oxide and metal surface of one field of a polished section.

    Parameters
    ----------
    grey : ndarray of float32, shape (rows, columns)
        Greys from 0 (black) to 1 (white) at the picture's full depth, strip cut off or masked.
    pixel_size_um : float, optional
        Side of a pixel. Without it lengths stay in pixels.
    valid : ndarray of bool, optional
        True where a pixel belongs to the section.
    levels : Levels, optional
        Pinned levels of the session; found from the picture where not given.
    settings : Settings, optional
    trained : Trained, optional
        Classes by strokes, where grey alone does not part them; levels are not used then.
    known : Known, optional
        Noise, gain field and slopes that an earlier measurement of this very picture found.
    shelf : Shelf, optional
        Where the calm greys of this picture lie, or are laid for the next time.

    Raises
    ------
    MeasurementError
        If the field is too small, shows one grey, has no edges, or is too unevenly lit.
    """
    source = ArraySource(np.ascontiguousarray(grey, np.float32), valid)
    return measure_source(
        source,
        pixel_size_um=pixel_size_um,
        levels=levels,
        settings=settings,
        trained=trained,
        known=known,
        shelf=shelf,
    )


def measure_source(
    source: Source,
    *,
    pixel_size_um: float | None = None,
    levels: Levels | None = None,
    settings: Settings | None = None,
    trained: Trained | None = None,
    known: Known | None = None,
    shelf: Shelf | None = None,
    tile_px: int = TILE_PX,
    largest_whole: int = LARGEST_WHOLE,
) -> FieldResult:
    """Measure a picture of any size, window by window: as :func:`measure_field`, with the same numbers
    however it is cut."""
    settings = settings or Settings()
    _check(source)
    evened = Evened.of(source, settings, known, shelf)
    light, see, room = _watch(evened, shelf)
    if trained is None:
        search = _search(evened, levels, settings)
        cut = segment_any_size(
            evened,
            search.levels,
            search.edge_sigma_px,
            tests=settings.strictness,
            see=see,
            tile_px=tile_px,
            largest_whole=largest_whole,
        )
        slopes = known.slopes if known else None
        doubt = _doubt(evened, search, settings, slopes, sure=cut.as_read is None)
    else:
        search, cut, doubt = read_trained(evened, trained, settings, see=see, tile_px=tile_px)
    if shelf is not None and room is not None:
        shelf.keep(Calmed(room, light, evened.noise, evened.gain))
    return _result(evened, search, cut, doubt, light, pixel_size_um, settings, trained)


def _search(evened: Evened, levels: Levels | None, settings: Settings) -> LevelSearch:
    calm, mask = evened.sample()
    if levels is not None:
        return with_levels(calm, levels, mask, edge_sigma_px=settings.edge_sigma_px)
    return find_levels(calm, mask, edge_sigma_px=settings.edge_sigma_px)


def _watch(evened: Evened, shelf: Shelf | None) -> tuple[Light, See | None, Grey | None]:
    """Give the counts of greys with what sees each window for them, and the room for calm greys; there is
    nothing to see where they were kept from another time."""
    if evened.calmed is not None:
        return evened.calmed.light, None, None
    light = Light()
    room = shelf.room(evened.shape) if shelf else None
    count = light.see(evened.source)

    def see(window: Window, calm: Grey) -> None:
        count(window, calm)
        if room is not None:
            room[window.at] = calm

    return light, see, room


def _doubt(
    evened: Evened, search: LevelSearch, settings: Settings, slopes: Slopes | None, *, sure: bool
) -> Sensitivity:
    if not settings.sensitivity:
        return Sensitivity({}, {})
    if slopes is not None and slopes.hold_for(search.levels, search.edge_sigma_px, sure=sure):
        return slopes.at(search.levels)
    middle = middle_window(evened.source)
    return threshold_sensitivity(
        evened.calm(middle),
        search.levels,
        search.edge_sigma_px,
        settings.strictness,
        evened.source.valid(middle),
        sure=sure,
    )


def _result(
    evened: Evened,
    search: LevelSearch,
    cut: Segmentation,
    doubt: Sensitivity,
    light: Light,
    pixel_size_um: float | None,
    settings: Settings,
    trained: Trained | None,
) -> FieldResult:
    """Gather what a class map says, and what must be known of it."""
    labels = cut.labels
    tiles = sums_of_tiles(labels, settings.tile_px)
    total = add_up(tiles)
    outline = outline_factor_of(labels, search.edge_sigma_px)
    parts = parts_of(total, outline)
    doubt = with_outline(doubt, parts, doubt_of(outline))
    errors = {key: ratio_error(*cells) for key, cells in cells_of_all(labels).items()}
    scale = pixel_size_um or 1.0
    estimates = {
        key: _estimate(key, part, errors[key], doubt.uncertainty.get(key, 0.0), pixel_size_um)
        for key, part in parts.items()
        if part.value is not None
    }
    tally = rims_of_all(labels)
    gaps = gap_curve(labels, covered=tally.covered, bare=tally.bare)
    near = gaps.near_coverage(pixel_size_um)
    rims = tally.thickness
    middle = middle_window(evened.source)
    structure = structure_of(np.array(labels[middle.at]))
    closely = Window(0, labels.shape[0], 0, labels.shape[1]) if labels.size <= LARGEST_WHOLE else middle
    calm, near_labels = evened.calm(closely), np.array(labels[closely.at])
    edges = None
    if trained is None:
        place = place_of(calm, search.levels)
        relief = Relief.of(calm)
        edges = edge_shape(place, relief, search.levels.contrast, search.edge_sigma_px, near_labels)
    bound = None if cut.as_read is None else parts_of(cut.as_read, outline)
    facts = Facts(
        white=light.white,
        black=light.black,
        solid=light.solid,
        calm=calm,
        labels=near_labels,
        gain=evened.gain,
        noise=evened.noise,
        search=search,
        unresolved_share=cut.unresolved_share,
        sums=total,
        estimates=estimates,
        doubt=doubt,
        pixel_size_um=pixel_size_um,
        settings=settings,
        rims=rims,
        near=near,
        trained=None if trained is None else trained.accuracy,
        edges=edges,
        as_read=None if bound is None else bound["oxide_coverage"].value,
        outline_factor=outline,
        small_share=cut.small_share,
    )
    open_below, open_above = open_sides(facts, bound, unseen=hidden_film(edges) or enclosed_bright(facts))

    def in_units(values: dict[str, float]) -> dict[str, float]:
        return {key: value * scale ** BY_KEY[key].power for key, value in values.items()}

    return FieldResult(
        estimates=opened(estimates, open_below, open_above),
        parts=parts,
        sampling_error=in_units({key: error.standard_error for key, error in errors.items()}),
        threshold_uncertainty=in_units(doubt.uncertainty),
        half_range=in_units(doubt.half_range),
        labels=labels,
        tiles=tiles,
        flags=raise_flags(facts),
        histogram=light.histogram,
        levels=search.levels,
        edge_sigma_px=search.edge_sigma_px,
        false_rim_px=cut.false_rim_px,
        noise=evened.noise,
        noise_left=search.noise_left,
        gain=evened.gain,
        integral_range_px=_integral_range(errors["porosity"], total),
        detection_limit_px=detection_limit(search, cut, settings),
        unresolved_share=cut.unresolved_share,
        outline_factor=outline,
        rims=rims,
        near_coverage=near,
        gap_curve=gaps,
        pore_openings=sizes_at(structure.opening_sizes_px, structure.opening_passed),
        structure=structure,
        pixel_size_um=pixel_size_um,
        settings=settings,
        trained=None if trained is None else trained.digest,
        open_below=open_below,
        open_above=open_above,
        slopes=doubt.slopes,
    )


def detection_limit(search: LevelSearch, cut: Segmentation, settings: Settings) -> float:
    """Give the thinnest oxide, in pixels, that is surely seen: wider than a bare edge, and than three
    blurs."""
    return max(3 * search.edge_sigma_px, 3.5, cut.false_rim_px + settings.strictness.margin_px + 1)


def _check(source: Source) -> None:
    if min(source.shape) < SMALLEST_SIDE:
        raise FieldTooSmall(f"The picture has shape {source.shape}.")
    count = count_valid(source)
    if count < SMALLEST_SIDE**2:
        raise FieldTooSmall(f"Only {count} pixels belong to the section.")


def _integral_range(error: RatioError, total: Sums) -> float:
    """Area, in pixels, over which the field's porosity is one independent draw."""
    spread = error.ratio * (1 - error.ratio)
    return float(error.standard_error**2 * total.area_px / spread) if spread > 0 else 0.0


def _estimate(
    key: str, part: Parts, error: RatioError, doubt: float, pixel_size_um: float | None
) -> Estimate:
    quantity = BY_KEY[key]
    scale = (pixel_size_um or 1.0) ** quantity.power
    value = float(part.value or 0.0)
    half = hypot(error.half_width, 1.96 * doubt)
    low, high = value - half, value + half
    if quantity.bounded:
        low, high = max(low, 0.0), min(high, 1.0)
    return Estimate(
        value * scale,
        max(low, 0.0) * scale,
        high * scale,
        quantity.unit(pixel_size_um is not None),
        1,
        "one field, from its own covariance, with the levels' doubt",
    )
