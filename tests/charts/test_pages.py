"""The drawn files."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from output import sheet_sample

from cureplan.output.charts.drawing import bucket_picture, job_pictures
from cureplan.output.charts.pages import paint_picture, plan_pictures
from cureplan.output.charts.style import drawable
from cureplan.output.charts.svg import shapes_of
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan


@pytest.fixture(scope="module")
def pictures(plan: Plan) -> dict[str, bytes]:
    return plan_pictures(plan)


def test_the_image_is_as_wide_as_a_page_and_not_blank(pictures: dict[str, bytes]):
    import io

    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(pictures["png"])) as image:
        assert image.width == 1100
        pixels = np.asarray(image.convert("L"))
    # Lines, bars and words: neither white paper nor a black square.
    assert 0.01 < (pixels < 200).mean() < 0.5


def test_the_document_has_pages_for_the_job_its_maps_and_its_buckets(
    pictures: dict[str, bytes],
):
    assert len(re.findall(rb"/Type /Page\b", pictures["pdf"])) == 3


def test_the_same_plan_draws_the_same_files(plan: Plan, pictures: dict[str, bytes]):
    assert plan_pictures(plan) == pictures


def test_every_drawing_returns_its_axes_and_speaks_the_language(plan: Plan):
    voice = voice_of(plan, "es")
    titles = ["Los cuartos", "Temperaturas", "Ventanas", "Los tres relojes"]
    pictures = [*job_pictures(plan, voice), bucket_picture(plan, "Cook line", voice)]
    for title, picture in zip(titles, pictures, strict=True):
        axes = Figure().add_subplot()
        assert paint_picture(axes, picture) is axes
        assert axes.get_title(loc="left").startswith(title)


def test_both_painters_are_given_the_same_bars_marks_and_words(plan: Plan):
    for picture in (
        *job_pictures(plan, voice_of(plan)),
        bucket_picture(plan, "Cook line", voice_of(plan)),
    ):
        axes = paint_picture(Figure().add_subplot(), picture)
        svg = {shape.kind: shape.path for shape in shapes_of(picture.drawing)}
        drawn = sum(len(bars.get_paths()) for bars in axes.collections)
        marked = sum(len(line.get_xdata()) for line in axes.lines)
        points = {point.kind for point in picture.drawing.points}
        assert drawn == sum(p.count("M") for kind, p in svg.items() if kind not in points)
        assert marked == sum(p.count("M") for kind, p in svg.items() if kind in points)
        texts = [text.get_text() for text in axes.texts]
        assert texts == [text.text for text in picture.drawing.texts]


@pytest.mark.thorough
@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
def test_hostile_names_are_drawn_as_text(name: str):
    # Warnings are errors here: a sign the font lacks, or "$" read as a formula, would fail.
    plan = sheet_sample.sample_plan((name, "Corridor"))
    voice = voice_of(plan)
    figure = Figure()
    paint_picture(figure.add_subplot(2, 1, 1), job_pictures(plan, voice)[0])
    paint_picture(figure.add_subplot(2, 1, 2), bucket_picture(plan, name, voice))
    FigureCanvasAgg(figure).draw()


def test_signs_the_font_lacks_show_as_a_box():
    assert drawable("Grill 🔥") == "Grill □"
    assert len(drawable("K" * 200)) < 30


def test_an_empty_plan_still_draws(plan: Plan):
    empty = replace(plan, rooms=(), buckets=(), coats=(), hours=())
    assert plan_pictures(empty)["png"].startswith(b"\x89PNG")
