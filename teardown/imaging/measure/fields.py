"""From a stored micrograph to stored numbers of one field."""

from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import asdict
from typing import Any

import numpy as np
from django.db import models

from teardown.dissection.store import on_disk
from teardown.files.models import Run
from teardown.imaging.measure.examining import Examined, Regions, examine
from teardown.imaging.measure.plain import (
    flag_data,
    levels_data,
    quantity_name,
    read_gaps,
    read_hints,
    read_known,
    read_levels,
    read_regions,
    read_scale,
    read_settings,
    sums_data,
)
from teardown.imaging.measure.shelf import CalmShelf
from teardown.imaging.measure.training import learned
from teardown.imaging.models import FieldMeasure, HeldMeasure, Micrograph, SectionResult
from teardown.imaging.runs import PoolAfter
from teardown.imaging.store import classes_of, keep_classes, overlay_of, picture_of, thumbnail_of
from teardown.science.stereology.field_result import FieldResult
from teardown.science.stereology.flags import lifted_oxide
from teardown.science.stereology.layers import depth_profile
from teardown.science.stereology.ratios import BY_KEY
from teardown.science.stereology.regions import Polygon

Beat = Callable[[float, str], None]


def section(run: Run, beat: Beat) -> Iterable[models.Model | PoolAfter]:
    """Measure one micrograph as its run asks, and give the rows to be written."""
    micrograph = _subject(run)
    asked = run.settings
    beat(0.02, "making the picture for the screen")
    picture_of(micrograph)
    thumbnail_of(micrograph)
    beat(0.05, "reading the picture and measuring")
    shelf = CalmShelf(micrograph.receipt.file.sha256, page=micrograph.page, asked=asked)
    with on_disk(micrograph.receipt.file) as path, closing(shelf):
        examined = examine(
            path,
            page=micrograph.page,
            scale=read_scale(asked.get("scale")),
            hints=read_hints(asked.get("hints")),
            regions=read_regions(asked.get("regions", {})),
            levels=read_levels(asked.get("levels")),
            settings=read_settings(asked),
            trained=learned(asked.get("trained")),
            known=read_known(asked.get("known")),
            shelf=shelf,
        )
    held = bool(asked.get("held"))
    beat(0.7, "keeping the classes")
    name = f"classes of micrograph {micrograph.pk}, run {run.pk}.png"
    kept = keep_classes(examined.result.labels, name=name)
    result = SectionResult(
        micrograph=micrograph,
        run=run,
        class_map=kept.file,
        levels=levels_data(examined.result),
        sums=sums_data(examined) | _profiles(examined, read_regions(asked.get("regions", {}))),
        flags=[flag_data(flag) for flag in examined.flags],
        held=held,
    )
    beat(0.85, "making the classes for the screen")
    classes_of(result)
    overlay_of(result)
    if held:
        return [result, *_measures(micrograph, run, examined.result, HeldMeasure)]
    return [
        result,
        *_measures(micrograph, run, examined.result, FieldMeasure),
        PoolAfter(micrograph, run.asked_by),
    ]


def _profiles(examined: Examined, regions: Regions) -> dict[str, Any]:
    """Give the layers below each face that was drawn, the first apart from the others."""
    below = [_layers(examined, face) for face in regions.faces]
    return {"profile": below[0] if below else [], "profiles": below[1:]}


def _layers(examined: Examined, face: Polygon) -> list[dict[str, Any]]:
    """Give the layers below a face, with their depth in pixels too, so that a later scale needs no pixel."""
    layers = depth_profile(examined.result.labels, np.asarray(face, float), pixel_size_um=1.0)
    size = examined.result.pixel_size_um
    return [_at_depth(asdict(layer) | {"depth_px": layer.depth_um}, size) for layer in layers]


def _at_depth(layer: dict[str, Any], size_um: float | None) -> dict[str, Any]:
    return layer | {"depth_um": layer["depth_px"] * size_um if size_um and layer["depth_px"] else None}


def _measures(
    micrograph: Micrograph, run: Run, result: FieldResult, kind: type[FieldMeasure] | type[HeldMeasure]
) -> list[FieldMeasure | HeldMeasure]:
    return [
        kind(
            micrograph=micrograph,
            run=run,
            quantity=quantity_name(key, estimate.unit),
            value=estimate.value,
            low=estimate.low,
            high=estimate.high,
            unit=estimate.unit,
            n=estimate.n,
            method=estimate.method,
            details={
                "key": key,
                "u_sampling": result.sampling_error.get(key),
                "u_threshold": result.threshold_uncertainty.get(key),
                "half_range": result.half_range.get(key),
                "levels": result.levels.source,
            },
        )
        for key, estimate in result.estimates.items()
    ]


def rescale(run: Run, beat: Beat) -> Iterable[models.Model | PoolAfter]:
    """Give a measured field another pixel size: no pixel is read, every length is multiplied."""
    micrograph = _subject(run)
    beat(0.5, "rescaling")
    old = SectionResult.objects.select_related("class_map").get(run=run.settings["run"])
    size = float(run.settings["scale"]["pixel_width_um"])
    before = old.sums["pixel_size_um"]
    factor = size / (before or 1.0)
    sums = dict(old.sums) | {"pixel_size_um": size}
    for part in ("sampling_error", "threshold_uncertainty", "half_range"):
        sums[part] = {key: value * factor ** BY_KEY[key].power for key, value in old.sums[part].items()}
    sums["profile"] = _deepened(old.sums.get("profile") or [], size, before)
    sums["profiles"] = [_deepened(layers, size, before) for layers in old.sums.get("profiles") or []]
    flags = [flag for flag in old.flags if flag["code"] not in ("unscaled", "scale_conflict")]
    measures = list(FieldMeasure.objects.filter(run=old.run_id))
    gaps = read_gaps(old.sums)
    if gaps is None:  # an earlier result: its gaps in pixels stay, and are other gaps now
        near = old.sums.get("near_coverage") or {}
        sums["near_coverage"] = {f"{float(gap) * factor:.3g}": share for gap, share in near.items()}
    else:
        near = sums["near_coverage"] = gaps.near_coverage(size)
        coverage = [one.value for one in measures if one.details["key"] == "oxide_coverage"]
        flags = [flag for flag in flags if flag["code"] != "lifted_oxide"]
        flags += [flag_data(flag) for value in coverage for flag in lifted_oxide(value, near)]
    result = SectionResult(
        micrograph=micrograph, run=run, class_map=old.class_map, levels=old.levels, sums=sums, flags=flags
    )
    return [
        result,
        *(_rescaled(one, run, factor) for one in measures),
        PoolAfter(micrograph, run.asked_by),
    ]


def _deepened(layers: list[dict[str, Any]], size: float, before: float | None) -> list[dict[str, Any]]:
    """Give layers their depth by another pixel size; an older result may not have kept it in pixels."""
    known = [
        layer | {"depth_px": layer.get("depth_px") or (layer["depth_um"] / before if before else None)}
        for layer in layers
    ]
    return [_at_depth(layer, size) for layer in known]


def _rescaled(one: FieldMeasure, run: Run, factor: float) -> FieldMeasure:
    key = one.details["key"]
    by = factor ** BY_KEY[key].power
    unit = BY_KEY[key].unit(scaled=True)
    details = {name: value * by if isinstance(value, float) else value for name, value in one.details.items()}
    return FieldMeasure(
        micrograph_id=one.micrograph_id,
        run=run,
        quantity=quantity_name(key, unit),
        value=one.value * by,
        low=one.low * by,
        high=one.high * by,
        unit=unit,
        n=one.n,
        method=one.method,
        details=details,
    )


def _subject(run: Run) -> Micrograph:
    number = int(run.subject.rsplit(":", 1)[1])
    return Micrograph.objects.select_related("receipt__file").get(pk=number)
