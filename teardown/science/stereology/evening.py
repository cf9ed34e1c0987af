"""A picture made even and calm, window by window: what all classes are read from."""

from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np

from teardown.science.stereology.light import Light
from teardown.science.stereology.noise import Grey, Mask, denoise, noise_level
from teardown.science.stereology.sensitivity import Slopes
from teardown.science.stereology.settings import Settings
from teardown.science.stereology.shading import FLAT, Gain, fit_gain, fit_gain_of
from teardown.science.stereology.windows import Source, Window, join, tiles_of

# the faint blur reaches three pixels, each of the three calming passes two more
CALM_HALO = 16
LARGEST_SAMPLE = 4_000_000
BLOCK, ACROSS = 512, 4


@dataclass(frozen=True, slots=True)
class Known:
    """What an earlier measurement of the same picture found, to be used again.

    Its noise and its light are the same in every measurement; how far the numbers hang on the levels
    (``slopes``) holds for levels near those that it was told at.
    """

    noise: float
    gain: Gain
    slopes: Slopes | None = None


@dataclass(frozen=True, slots=True)
class Calmed:
    """Calm greys of a whole picture, shape (rows, columns), with the counts of its greys, and the noise and
    gain that they rest on."""

    greys: Grey
    light: Light
    noise: float
    gain: Gain

    def fits(self, shape: tuple[int, int], noise: float, gain: Gain) -> bool:
        """Tell whether these are the greys of a source of this shape, noise and gain."""
        return (self.greys.shape, self.noise, self.gain) == (shape, noise, gain)


class Shelf(Protocol):
    """Where the calm greys of a picture may lie between measurements; it changes no number."""

    def find(self) -> Calmed | None:
        """Give what lies there."""
        ...

    def room(self, shape: tuple[int, int]) -> Grey | None:
        """Give room for the calm greys of a picture; None where it is too large to be kept."""
        ...

    def keep(self, calmed: Calmed) -> None:
        """Keep the greys that were written into the room given."""
        ...


class Evened:
    """A source with its noise and its gain field: gives calm greys of any window, the same in every cut."""

    def __init__(self, source: Source, noise: float, gain: Gain, calmed: Calmed | None = None) -> None:
        """Keep what all windows share; greys that were calmed before are used if they are of this source."""
        self.source, self.noise, self.gain = source, noise, gain
        self.calmed = calmed if calmed and calmed.fits(source.shape, noise, gain) else None
        self._last: tuple[Window, Grey] | None = None

    @classmethod
    def of(
        cls, source: Source, settings: Settings, known: Known | None = None, shelf: Shelf | None = None
    ) -> "Evened":
        """Tell noise and gain of a source, or take them from an earlier measurement of it.

        Raises
        ------
        FieldTooUneven
            If the gain varies too much to be divided out.
        """
        if known is not None:
            return cls(source, known.noise, known.gain, shelf.find() if shelf else None)
        blocks = sample_windows(source)
        if len(blocks) == 1:
            grey, mask = source.grey(blocks[0]), source.valid(blocks[0])
            noise = noise_level(grey, mask)
            gain = fit_gain(grey, noise, mask, largest=settings.largest_gain) if settings.even_field else FLAT
            return cls(source, noise, gain)
        mosaic = join([source.grey(block) for block in blocks], ACROSS)
        noise = noise_level(mosaic, _mask_of(source, blocks))
        gain = fit_gain_of(source, noise, largest=settings.largest_gain) if settings.even_field else FLAT
        return cls(source, noise, gain)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.source.shape

    def even(self, window: Window) -> Grey:
        """Give the greys of a window with the gain divided out."""
        grey = np.ascontiguousarray(self.source.grey(window), np.float32)
        if self.gain == FLAT:
            return grey
        return np.asarray(cv2.divide(grey, self.gain.within(self.shape, window.at)), np.float32)

    def calm(self, window: Window) -> Grey:
        """Give the denoised greys of a window, equal to those of the whole picture there."""
        if self.calmed is not None:
            return np.ascontiguousarray(self.calmed.greys[window.at], np.float32)
        if self._last is not None and self._last[0] == window:
            return self._last[1]
        wide = window.wider(CALM_HALO, self.shape)
        calm = denoise(self.even(wide), self.noise)
        if wide != window:
            calm = np.ascontiguousarray(calm[window.inside(wide)])
        self._last = window, calm
        return calm

    def sample(self) -> tuple[Grey, Mask | None]:
        """Give calm greys enough to tell the levels by: all, or sixteen blocks spread over the picture."""
        blocks = sample_windows(self.source)
        if len(blocks) == 1:
            return self.calm(blocks[0]), self.source.valid(blocks[0])
        return join([self.calm(block) for block in blocks], ACROSS), _mask_of(self.source, blocks)


def sample_windows(source: Source) -> list[Window]:
    """Choose where levels and noise are read: the whole of a picture up to 4 Mpx; of larger ones the
    sixteen of 64 blocks on a grid that hold most of the section, whatever the tiles."""
    rows, columns = source.shape
    if rows * columns <= LARGEST_SAMPLE or min(rows, columns) < BLOCK:
        return [Window(0, rows, 0, columns)]
    found = []
    for down in np.linspace(0, rows - BLOCK, 2 * ACROSS).astype(int):
        for across in np.linspace(0, columns - BLOCK, 2 * ACROSS).astype(int):
            block = Window(int(down), int(down) + BLOCK, int(across), int(across) + BLOCK)
            mask = source.valid(block)
            share = 1.0 if mask is None else float(mask.mean())
            found.append((share, block))
    # among equals every fourth is taken, so that they spread over the picture
    full = [block for share, block in found if share > 0.99]
    if len(full) >= ACROSS * ACROSS:
        picks = np.linspace(0, len(full) - 1, ACROSS * ACROSS).astype(int)
        return [full[pick] for pick in picks]
    ranked = sorted(range(len(found)), key=lambda number: (-found[number][0], number))
    return [found[number][1] for number in sorted(ranked[: ACROSS * ACROSS])]


def _mask_of(source: Source, blocks: list[Window]) -> Mask | None:
    masks = [source.valid(block) for block in blocks]
    if all(mask is None for mask in masks):
        return None
    filled = [np.ones(block.shape, bool) if m is None else m for m, block in zip(masks, blocks, strict=True)]
    return join([mask.astype(np.float32) for mask in filled], ACROSS) > 0


def fits_whole(shape: tuple[int, int], most: int) -> bool:
    """Tell whether a picture is taken in one piece."""
    return shape[0] * shape[1] <= most or len(list(tiles_of(shape))) == 1
