"""Figures of one micrograph: greys with levels, rim thickness, layers below a face."""

from teardown.imaging.models import SectionResult
from teardown.page.figures import Axis, Curve, Figure, Rule


def levels_figure(result: SectionResult) -> Figure | None:
    """Draw the histogram of greys with the levels, where the run kept one."""
    histogram = result.sums.get("histogram")
    if not histogram:
        return None
    levels = result.levels
    step = 1 / len(histogram)
    places = [(number + 0.5) * step for number in range(len(histogram))]
    rules = [Rule(levels["pore"], "pore", "x"), Rule(levels["metal"], "metal", "x")]
    rules += [Rule(grey, "oxide", "x") for grey in levels["oxides"]]
    return Figure(
        title="Greys and levels",
        description="How often each grey occurs, with the levels of pore, oxide and metal.",
        x=Axis("grey, 0 black to 1 white", low=0, high=1),
        y=Axis("share of pixels", percent=True, low=0),
        curves=(Curve("", places, histogram, kind="steps"),),
        rules=tuple(rules),
    )


def rims_figure(result: SectionResult) -> Figure | None:
    """Draw how thick the rims appear along the covered outline."""
    rims = result.sums.get("rims")
    if not rims:
        return None
    size = result.sums["pixel_size_um"]
    total = sum(rims["counts"]) or 1
    last = max(number for number, count in enumerate(rims["counts"]) if count) + 2
    step = rims["step_px"] * (size or 1)
    unit = "µm" if size else "px"
    return Figure(
        title="Apparent rim thickness",
        description=f"Rims appear about {rims['median_px'] * (size or 1):.2g} {unit} thick.",
        x=Axis(f"apparent thickness, {unit}", low=0),
        y=Axis("share of the covered outline", percent=True, low=0),
        curves=(
            Curve(
                "",
                [number * step for number in range(last)],
                [count / total for count in (*rims["counts"], 0, 0)[:last]],
                kind="steps",
                style="oxide",
            ),
        ),
        rules=(Rule(rims["median_px"] * (size or 1), "median", "x"),),
    )


def profile_figure(result: SectionResult) -> Figure | None:
    """Draw porosity and oxide by depth below the face, where a face was drawn."""
    layers = result.sums.get("profile")
    if not layers:
        return None
    depths = [layer["depth_um"] or 50 * (layer["start"] + layer["end"]) for layer in layers]
    scaled = layers[0]["depth_um"] is not None
    return Figure(
        title="From face to core",
        description="Porosity and oxide fraction in layers of equal depth below the drawn face.",
        x=Axis("depth, µm" if scaled else "depth, % of the section", low=0),
        y=Axis("share of the layer", percent=True, low=0),
        curves=(
            Curve("porosity", depths, [layer["porosity"] for layer in layers], style="pore"),
            Curve("oxide", depths, [layer["oxide_fraction"] for layer in layers], style="oxide"),
        ),
    )
