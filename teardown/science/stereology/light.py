"""How the greys of a picture lie, gathered window by window: ends of the scale, and a histogram."""

from collections.abc import Callable, Sequence

import cv2
import numpy as np

from teardown.science.stereology.noise import Grey
from teardown.science.stereology.windows import Source, Window

STEPS = 128
WHITE, BLACK = 0.998, 0.002


class Light:
    """Counts of greys, added up over windows."""

    def __init__(self, counts: Sequence[int] = (), white: int = 0, black: int = 0) -> None:
        """Begin with what was counted before, or with nothing."""
        self._counts = np.array(counts if len(counts) else np.zeros(STEPS), np.int64)
        self._white, self._black = white, black
        self._all = int(self._counts.sum())

    @property
    def counted(self) -> tuple[list[int], int, int]:
        """Give the counts, to begin with another time."""
        return self._counts.tolist(), self._white, self._black

    def see(self, source: Source) -> Callable[[Window, Grey], None]:
        """Give what is to be shown each window with its calm greys."""

        def one(window: Window, calm: Grey) -> None:
            grey, mask = source.grey(window), source.valid(window)
            if mask is not None:
                grey, calm = grey[mask], calm[mask]
            self._white += int(np.count_nonzero(grey >= WHITE))
            self._black += int(np.count_nonzero(grey <= BLACK))
            self._all += grey.size
            step = np.clip(calm * np.float32(STEPS), 0, STEPS - 1).astype(np.uint8)
            if step.size:
                counts = cv2.calcHist(
                    [np.ascontiguousarray(step.reshape(-1, 1))], [0], None, [STEPS], [0, STEPS]
                )
                self._counts += counts.ravel().astype(np.int64)

        return one

    @property
    def white(self) -> float:
        """Share of the pixels that are burnt out."""
        return self._white / max(self._all, 1)

    @property
    def black(self) -> float:
        """Share of the pixels that are fully black."""
        return self._black / max(self._all, 1)

    @property
    def solid(self) -> tuple[float, float]:
        """Shares of the pixels that lie at the black and at the white end after noise is calmed too: where
        noise alone carries pixels over an end, calm greys stay off it."""
        return self.histogram[0], self.histogram[-1]

    @property
    def histogram(self) -> tuple[float, ...]:
        """Share of pixels in each of 128 steps of grey, gain divided out and noise calmed."""
        return tuple(float(share) for share in self._counts / max(self._all, 1))
