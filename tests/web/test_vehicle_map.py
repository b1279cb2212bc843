"""The map of the vehicle: lines meet their panels, avoid the others, and keep their numbers."""

import re

import pytest

from service.web.vehicle_map import BOX_WIDTH, LABEL_HEIGHT, LABEL_LETTER, MapJoint, MapPanel, draw


def panel(key, x, y, **more):
    return MapPanel(key=key, name=more.pop("name", f"Panel {key}"), x=x, y=y, **more)


def joint(first, second, word="blends", kind="gap", label="0.34"):
    return MapJoint(
        first=first,
        second=second,
        kind=kind,
        word=word,
        label=label,
        title=f"{first} to {second}",
        href=f"/joints/{first}-{second}",
    )


def points(path):
    return [tuple(map(float, pair.split(","))) for pair in re.findall(r"[-\d.]+,[-\d.]+", path)]


def edges(box, margin=0.0):
    return (
        box.x - margin,
        box.y - margin,
        box.x + box.width + margin,
        box.y + box.height + margin,
    )


def holds(rectangle, point):
    left, top, right, bottom = rectangle
    return left < point[0] < right and top < point[1] < bottom


def label_area(seam):
    width = LABEL_LETTER * len(seam.label)
    middle = seam.y - 4.5
    return (seam.x - width / 2, middle - 6, seam.x + width / 2, middle + 6)


def meet(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def crowd():
    """Twenty panels and forty joints, the most a map is asked to keep legible."""
    panels = [panel(f"{x}{y}", x, y, note="batch 3") for y in range(5) for x in range(4)]
    pairs = [(f"{x}{y}", f"{x + 1}{y}") for y in range(5) for x in range(3)]
    pairs += [(f"{x}{y}", f"{x}{y + 1}") for y in range(4) for x in range(4)]
    pairs += [(f"{x}{y}", f"{x + 1}{y + 1}") for y in range(4) for x in (0, 2)]
    pairs += [("00", "20")]
    return panels, [
        joint(*pair, label="over 5" if n % 5 == 0 else "0.84") for n, pair in enumerate(pairs)
    ]


def test_a_line_runs_from_edge_to_edge_of_its_two_panels():
    drawing = draw([panel("a", 0, 0), panel("b", 2, 1)], [joint("a", "b")])
    first, second = drawing.boxes
    start, end = points(drawing.seams[0].path)
    for box, point in ((first, start), (second, end)):
        assert holds(edges(box, 0.2), point) and not holds(edges(box, -0.2), point)


def test_a_line_bends_around_a_panel_that_stands_between():
    drawing = draw([panel(key, x, 0) for x, key in enumerate("abc")], [joint("a", "c")])
    between = edges(drawing.boxes[1], 3)
    assert len(points(drawing.seams[0].path)) > 2
    assert not any(holds(between, point) for point in points(drawing.seams[0].path))


def test_two_joints_of_the_same_panels_do_not_share_a_line():
    drawing = draw([panel("a", 0, 0), panel("b", 0, 1)], [joint("a", "b"), joint("b", "a")])
    assert drawing.seams[0].path != drawing.seams[1].path
    middles = [points(seam.path)[len(points(seam.path)) // 2] for seam in drawing.seams]
    assert abs(middles[0][0] - middles[1][0]) > 10


def test_an_edge_within_a_panel_is_drawn_inside_it():
    drawing = draw(
        [panel("a", 0, 0, note="batches 2, 3")],
        [joint("a", "a", kind="within"), joint("a", "a", kind="fade")],
    )
    box = edges(drawing.boxes[0])
    for seam in drawing.seams:
        assert all(holds(box, point) for point in points(seam.path))
        assert seam.x > max(x for x, _ in points(seam.path)) and holds(box, (seam.x, seam.y))
    assert drawing.seams[0].y != drawing.seams[1].y
    assert drawing.boxes[0].note[0] < min(y for s in drawing.seams for _, y in points(s.path))


def test_every_verdict_has_a_line_of_its_own():
    words = ("blends", "shows", "not_comparable")
    panels = [panel("a", 0, 0), panel("b", 1, 0)]
    paths = [draw(panels, [joint("a", "b", word)]).seams[0].path for word in words]
    whole, broken, parted = paths
    assert whole.count("M") == 1 and len(points(whole)) == 2
    # The broken line steps aside in its middle; the parted one has a gap with a slash in it.
    assert broken.count("M") == 1 and len({y for _, y in points(broken)}) == 2
    assert parted.count("M") == 3
    before, after = points(parted)[1], points(parted)[2]
    slash = points(parted)[4:]
    assert after[0] - before[0] >= 10
    assert all(before[0] < x < after[0] for x, _ in slash)


def test_a_crowded_map_keeps_every_number_clear_of_panels_and_of_each_other():
    panels, joints = crowd()
    drawing = draw(panels, joints)
    assert len(drawing.boxes) == 20 and len(drawing.seams) == 40
    areas = [label_area(seam) for seam in drawing.seams]
    for index, area in enumerate(areas):
        assert not any(meet(area, edges(box)) for box in drawing.boxes)
        assert not any(meet(area, other) for other in areas[index + 1 :])


def test_no_line_of_a_crowded_map_crosses_a_panel_it_does_not_join():
    panels, joints = crowd()
    drawing = draw(panels, joints)
    boxes = dict(zip((p.key for p in panels), drawing.boxes, strict=True))
    for seam, asked in zip(drawing.seams, joints, strict=True):
        for key, box in boxes.items():
            if key not in (asked.first, asked.second):
                line = points(seam.touch)
                ends = zip(line, line[1:], strict=False)
                fine = [
                    (a[0] + (b[0] - a[0]) * t / 20, a[1] + (b[1] - a[1]) * t / 20)
                    for a, b in ends
                    for t in range(21)
                ]
                assert not any(holds(edges(box), point) for point in fine)


def test_the_view_box_holds_everything():
    panels, joints = crowd()
    drawing = draw(panels, joints)
    whole = (
        drawing.left,
        drawing.top,
        drawing.left + drawing.width,
        drawing.top + drawing.height,
    )
    for box in drawing.boxes:
        assert holds(whole, (box.x, box.y)) and holds(whole, edges(box)[2:])
    for seam in drawing.seams:
        assert all(holds(whole, point) for point in points(seam.path))
        area = label_area(seam)
        assert holds(whole, area[:2]) and holds(whole, area[2:])


def test_a_long_name_is_broken_into_lines_and_makes_its_box_taller():
    short, long = draw(
        [panel("a", 0, 0, name="Roof"), panel("b", 1, 0, name="Left rear quarter panel")], []
    ).boxes
    assert [text for _, text in long.lines] == ["Left rear", "quarter", "panel"]
    assert long.height > short.height and long.width == short.width == BOX_WIDTH
    assert long.lines[-1][0] < long.y + long.height


def test_a_joint_of_a_panel_that_is_not_there_is_refused():
    with pytest.raises(ValueError, match="names panel 'z', not on the map"):
        draw([panel("a", 0, 0)], [joint("a", "z")])


def test_a_map_without_panels_is_an_empty_picture():
    drawing = draw([], [])
    assert drawing.boxes == () and drawing.seams == ()
    assert drawing.width > 0 and drawing.height > 0


def test_a_joint_without_a_number_takes_no_more_room_than_it_needs():
    drawing = draw([panel("a", 0, 0), panel("b", 1, 0)], [joint("a", "b", label="")])
    assert drawing.seams[0].label == ""
    assert drawing.height < drawing.boxes[0].height + 2 * LABEL_HEIGHT + 20
