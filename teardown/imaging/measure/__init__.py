"""From stored micrographs to stored numbers: the one place where stereology and the lab's books meet."""

from teardown.imaging.measure.electrodes import electrode
from teardown.imaging.measure.examining import Examined, Regions, examine
from teardown.imaging.measure.fields import rescale, section
from teardown.imaging.measure.samples import sample
from teardown.imaging.measure.training import train

__all__ = ["Examined", "Regions", "electrode", "examine", "rescale", "sample", "section", "train"]
