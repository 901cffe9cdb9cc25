"""A takeoff put together by hand; its numbers are invented."""

import math

from slopewright.measurement import Measurement
from slopewright.roof import AreaClass, Order, Takeoff, TakeoffLine


def line(item, phase, unit, net, waste=0.0, order=None, status="in_scope", **more):
    return TakeoffLine(
        item=item,
        phase=phase,
        unit=unit,
        net=Measurement(net, round(0.01 * net, 6), round(0.98 * net, 6), round(1.02 * net, 6)),
        waste=Measurement(waste, 0.0, round(0.5 * waste, 6), round(1.5 * waste, 6)),
        order=order,
        status=status,
        origin=more.get("origin", ("A", "B")),
        rule=more.get("rule", "area of the planes"),
        source=more.get("source", "definition"),
    )


def takeoff(text=None):
    """Ten lines; with `text`, a first line with that text in every field."""
    given = {} if text is None else {"origin": (text,), "rule": text, "source": text}
    return Takeoff(
        system="composition_shingle" if text is None else text,
        lines=(
            line(
                text or "shingles",
                "tear_off",
                "sq",
                28.5,
                order=Order(quantity=29, unit="sq", chance_short=0.01),
                **given,
            ),
            line("felt", "tear_off", "sq", 28.5),
            line("deck sheets", "repair", "sheet", 4, status="excluded"),
            line(
                "ice barrier",
                "install",
                "sq",
                3.2,
                0.2,
                Order(quantity=2, unit="roll", chance_short=0.02),
                "code_item",
            ),
            line(
                "underlayment",
                "install",
                "sq",
                28.5,
                1.5,
                Order(quantity=8, unit="roll", chance_short=0.0125),
            ),
            line(
                "drip edge", "install", "lf", 210.0, 6.0, Order(quantity=23, unit="piece", chance_short=0.04)
            ),
            line("starter", "install", "lf", 210.0, 4.0, Order(quantity=3, unit="bundle", chance_short=0.0)),
            line(
                "field shingles",
                "install",
                "sq",
                28.5,
                2.9,
                Order(quantity=98, unit="bundle", chance_short=0.03),
            ),
            line(
                "hip and ridge caps",
                "install",
                "lf",
                92.0,
                3.0,
                Order(quantity=4, unit="bundle", chance_short=0.01),
            ),
            line("debris", "clean_up", "lb", 7125.0, status="check"),
        ),
        classes=(
            AreaClass(
                rise_in_12_from=0.0, rise_in_12_to=7.0, storeys=1, area=Measurement(120.0, 1.0, 118.0, 122.0)
            ),
            AreaClass(
                rise_in_12_from=12.0,
                rise_in_12_to=math.inf,
                storeys=None,
                area=Measurement(9.0, 0.5, 8.0, 10.0),
            ),
        ),
    )
