"""The products' fields: those that other people's work depends on are all declared."""

import re

import pytest

from wrackline import contract
from wrackline.vectors import DTYPES

PROMISED = {
    "wall_lines": "wall evidence line_follows traced_at length_m axis_deg axis_sd_deg top_depth_m "
    "top_depth_sd_m base_depth_m base_depth_sd_m phase_from phase_to surveys first_season "
    "last_season",
    "wall_bodies": "wall thickness_m thickness_sd_m evidence phase_from phase_to",
    "openings": "opening width_m width_sd_m joins evidence",
    "rooms": "room building kind floor_area_m2 floor_area_sd_m2 centre_area_m2 perimeter_m "
    "axis_deg axis_sd_deg elongation bed_depth_m bed_depth_min_m bed_depth_max_m bed_depth_sd_m "
    "bed_date floor_depth_m floor_depth_sd_m floor_evidence recorded_share support phase_from "
    "phase_to first_season last_season",
    "buildings": "building room_count footprint_m2 footprint_sd_m2 axis_deg axis_sd_deg "
    "top_depth_m top_depth_sd_m bed_depth_m bed_depth_sd_m floor_depth_m floor_depth_sd_m support",
    "features": "feature kind origin top_depth_m base_depth_m phase_from phase_to survey season",
    "spot_heights": "of thing rank height_m height_sd_m depth_m depth_sd_m evidence survey season",
    "trenches": "trench area_m2 area_sd_m2 survey season from_date to_date",
    "contours": "height_m depth_m index label_easting_m label_northing_m label_turn_deg",
    "waterlines": "sea_level height_m height_sd_m may_lie_off_m",
    "sightings": "wall season status length_m exposure_m exposure_sd_m cover_m cover_sd_m loss_m "
    "loss_sd_m surveys evidence",
    "wall_condition": "wall building last_known known_in last_seen this_season length_m",
    "seabed_change_areas": "area earlier later change area_m2 mean_m mean_sd_m volume_m3 "
    "volume_sd_m3 p",
    "tracings": "wall survey season line standing weight length_m off_m off_sd_m disagrees",
    "surveys": "survey technique season from_date to_date file sha256 random_horizontal_sd_m "
    "random_vertical_sd_m patchy_horizontal_sd_m patchy_vertical_sd_m error_sources "
    "ground_looked_at resolution_m visibility_m plant_cover_share used_for",
}
"""Fields that a layer has at least, as promised to those who use the products."""


@pytest.mark.parametrize("layer", PROMISED)
def test_every_promised_field_is_declared(layer):
    """Each layer declares at least the fields that were promised of it."""
    assert set(PROMISED[layer].split()) <= set(contract.columns(layer))


def test_there_is_no_layer_of_which_nothing_was_promised():
    """The layers are those promised, the plan's among them and in order."""
    assert set(contract.LAYERS) == set(PROMISED)
    assert list(contract.PLAN_LAYERS) == [n for n in contract.LAYERS if n in contract.PLAN_LAYERS]


@pytest.mark.parametrize("layer", PROMISED)
def test_fields_stand_once_with_type_and_meaning(layer):
    """No field stands twice; each has a known type and a meaning in words."""
    fields = contract.LAYERS[layer]
    assert len({field.name for field in fields}) == len(fields)
    assert all(field.kind in DTYPES and len(field.meaning) > 3 for field in fields)


@pytest.mark.parametrize("layer", PROMISED)
def test_numbers_carry_their_unit_in_their_name(layer):
    """A real number with a unit ends in it; one without is a share, a ratio or a probability."""
    for field in contract.LAYERS[layer]:
        if field.kind == "real" and field.unit:
            assert field.name.endswith(f"_{field.unit}")
        elif field.kind == "real":
            assert field.name.endswith("_share") or field.name in {
                "elongation",
                "support",
                "p",
                "weight",
            }


@pytest.mark.parametrize("layer", PROMISED)
def test_every_sd_stands_beside_its_figure(layer):
    """Where there is an sd there is the figure whose it is."""
    names = set(contract.columns(layer))
    stated = {n for n in names if re.match(r"(random|patchy)_", n)}
    for name in names - stated:
        if "_sd_" in name:
            assert name.replace("_sd_", "_") in names
