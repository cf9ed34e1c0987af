"""Micrographs: what they are of, how large their pixels are, and what was measured."""

from teardown.imaging.models.counts import Count
from teardown.imaging.models.micrographs import (
    Micrograph,
    MicrographQuerySet,
    ReferenceField,
    Region,
    ScaleClaim,
    SessionMove,
    Tie,
    planes_of,
)
from teardown.imaging.models.remeasuring import HeldMeasure, RemeasuredField, Remeasuring
from teardown.imaging.models.results import FieldMeasure, Review, SampleMeasure, SectionResult
from teardown.imaging.models.sessions import ImagingSession, Levels
from teardown.imaging.models.strokes import Classifier, StrokeSet

__all__ = [
    "Classifier",
    "Count",
    "FieldMeasure",
    "HeldMeasure",
    "ImagingSession",
    "Levels",
    "Micrograph",
    "MicrographQuerySet",
    "ReferenceField",
    "Region",
    "RemeasuredField",
    "Remeasuring",
    "Review",
    "SampleMeasure",
    "ScaleClaim",
    "SectionResult",
    "SessionMove",
    "StrokeSet",
    "Tie",
    "planes_of",
]
