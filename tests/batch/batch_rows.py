"""Rows of results put together by hand; their numbers are invented."""

from slopewright.batch import Row, Status
from slopewright.batch.row import value_columns


def row(identity="a", *, status=Status.OK, **more):
    """A gable of 100 m² and 6 in 12 that nothing speaks against."""
    values = {name: 0.0 for name in value_columns() if name != "footprint_m2"}
    values |= {
        "area_m2": 100.0, "area_low_m2": 98.0, "area_high_m2": 102.0, "squares": 10.764,
        "squares_low": 10.549, "squares_high": 10.979, "plan_area_m2": 89.44,
        "main_rise_in_12": 6.0, "main_rise_in_12_low": 5.9, "main_rise_in_12_high": 6.1, 
        "planes": 2.0, "observed": 0.99, "eave_m": 24.0,
        "rake_m": 20.0, "ridge_m": 12.0,
    }  # fmt: skip
    return Row(**{"id": identity, "status": status, "values": values, **more})
