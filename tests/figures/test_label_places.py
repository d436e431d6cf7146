"""Names beside points: off lines, off each other, inside the panel."""

import numpy as np

from pipeline.figures.label_places import places

PANEL = (10.0, 6.0)


def placed(points, names, **kwargs):
    found = places(np.array(points, float), names, panel=PANEL, size=8, **{"lines": [], **kwargs})
    return [(place.ha, place.va) for place in found]


def test_a_name_stands_to_the_upper_right_where_nothing_is_in_its_way():
    assert placed([(3, 3)], ["avocet"]) == [("left", "bottom")]


def test_a_name_gives_way_to_a_line():
    x = np.linspace(0, 10, 400)
    line = np.column_stack([x, np.full(400, 3.2)])
    assert placed([(3, 3)], ["avocet"], lines=[line]) == [("left", "top")]


def test_a_name_stays_inside_the_panel():
    assert placed([(9.8, 3)], ["avocet"])[0][0] == "right"
    assert placed([(3, 5.9)], ["avocet"])[0][1] == "top"


def test_two_names_do_not_meet():
    first, second = placed([(3, 3), (3.1, 3.05)], ["avocet", "curlew"])
    assert first != second


def test_a_name_gives_way_to_what_is_written_there():
    assert placed([(3, 3)], ["avocet"], taken=[(3, 5, 3, 4)]) == [("left", "top")]
