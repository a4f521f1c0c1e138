"""The centre's file of skills: what it holds, and how a course that nobody could go through is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.skills import COURSE_KINDS, Course, Skills, as_compared, read_skills, skills_from
from tripplan.record import TomlFile

COURSE = """
[[courses]]
kind = "level_1_course"
[[courses.skills]]
name = "steady breathing"
[[courses.skills]]
name = "mask clearing"
needs = ["steady breathing"]
confined_first = true
[[courses.skills]]
name = "shore entry"
water = "open"
least_depth_m = 2
[[courses.dives]]
number = 1
name = "Pool"
water = "confined"
skills = ["steady breathing", "mask clearing"]
[[courses.dives]]
number = 2
name = "Sea"
water = "open"
skills = ["shore entry", "mask clearing"]
"""


def read(text: str) -> Skills:
    return skills_from(TomlFile(Path("skills.toml"), text))


def faults(text: str) -> list[str]:
    with pytest.raises(BadRecord) as caught:
        read(text)
    return [str(fault) for fault in caught.value.faults]


def line_of(words: str, text: str = COURSE) -> int:
    return text[: text.index(words)].count("\n") + 1


def test_a_course_holds_its_dives_in_order_with_their_skills():
    (course,) = read(COURSE).courses
    assert [(dive.number, dive.water, dive.skills) for dive in course.dives] == [
        (1, "confined", ("steady breathing", "mask clearing")),
        (2, "open", ("shore entry", "mask clearing")),
    ]
    clearing = course.skill(" Mask  Clearing")
    assert clearing is not None and clearing.needs == ("steady breathing",) and clearing.confined_first
    assert course.skill("shore entry").least_depth_m == 2
    assert course.skill("flying") is None and course.dive(3) is None
    assert course.dive(2).name == "Sea"


def test_the_demonstration_teaches_the_three_kinds_that_teach_and_puts_confined_water_first():
    found = read_skills(data_dir("sites") / "centre" / "skills.toml")
    assert [course.kind for course in found.courses] == ["first_experience", "level_1_course", "level_2_course"]
    for course in found.courses:
        assert course.dives[0].water == "confined"
        first = course.dives[0].skills
        assert "mask clearing" in first and "regulator recovery and clearing" in first


def test_an_empty_file_has_no_course():
    assert read("") == Skills()
    assert Skills().course("level_1_course") is None
    assert read(COURSE).course("level_2_course") is None
    assert read(COURSE).course("level_1_course") is not None


@pytest.mark.parametrize(
    ("old", "new", "at", "words"),
    [
        ('"level_1_course"', '"guided"', 'kind = "', 'is "guided", on which nobody is taught'),
        ('"level_1_course"', '"level_9"', 'kind = "', "must be one of"),
        ('needs = ["steady breathing"]', 'needs = ["steady breath"]', "needs", 'did you mean "steady breathing"?'),
        ('needs = ["steady breathing"]', 'needs = ["mask clearing"]', "needs", "the skill itself"),
        (
            'needs = ["steady breathing"]',
            'needs = ["steady breathing", "Steady  breathing"]',
            "needs",
            "stands in the list already",
        ),
        ("confined_first = true", 'confined_first = true\nwater = "open"', "confined_first", "it is done in both"),
        ('"shore entry"\nwater', '"Mask Clearing"\nwater', 'name = "shore entry"', "which skills[2] has already"),
        ("number = 2", "number = 3", "number = 2", "is 3; the dives stand in order, and this is number 2"),
        ('water = "confined"', 'water = "open"', 'skills = ["steady', "comes first in confined water"),
        ('["shore entry", "mask clearing"]', '["shore entry", "mask wiping"]', 'skills = ["shore', "did you mean"),
        ('["shore entry", "mask clearing"]', '["mask clearing"]', 'name = "shore entry"', "no dive asks for"),
        (
            '["steady breathing", "mask clearing"]',
            '["mask clearing", "steady breathing"]',
            'skills = ["steady',
            'which needs "steady breathing"; nothing before it in the course has that',
        ),
        (
            '["steady breathing", "mask clearing"]',
            '["steady breathing", "mask clearing", "shore entry"]',
            'skills = ["steady',
            "which is for open water, but this dive is in confined water",
        ),
        (
            '["shore entry", "mask clearing"]',
            '["shore entry", "mask clearing", "Shore entry"]',
            'skills = ["shore',
            "stands in the list already",
        ),
        ("least_depth_m = 2", "least_depth_m = -2", "least_depth_m", "more than 0"),
        ("number = 1", "number = 0", "number = 1", "at least 1"),
    ],
)
def test_a_course_that_nobody_could_go_through_is_refused_with_its_line(old, new, at, words):
    assert COURSE.count(old) == 1 or old == 'water = "confined"'
    found = faults(COURSE.replace(old, new))
    # A line that was put in stands after the key that it follows.
    wanted = {f"skills.toml:{line_of(at)}:", f"skills.toml:{line_of(at) + 1}:"}
    assert any(words in fault and fault.split(" ")[0] in wanted for fault in found), found


def circle(*needs: tuple[str, str]) -> str:
    names = list(dict.fromkeys(name for pair in needs for name in pair))
    lines = ['[[courses]]\nkind = "refresher"']
    for name in names:
        wanted = ", ".join(f'"{need}"' for one, need in needs if one == name)
        lines.append(f'[[courses.skills]]\nname = "{name}"\nneeds = [{wanted}]')
    listed = ", ".join(f'"{name}"' for name in names)
    lines.append(f'[[courses.dives]]\nnumber = 1\nname = "x"\nwater = "open"\nskills = [{listed}]')
    return "\n".join(lines)


def test_needs_that_go_round_in_a_circle_are_refused_and_named_once():
    (found,) = faults(circle(("a", "b"), ("b", "c"), ("c", "a")))
    # The circle a, b, c has no beginning; whichever is named first is named last too.
    assert "goes round in a circle" in found
    assert any(
        f'"{x}", which needs "{y}", which needs "{z}", which needs "{x}"; one of them must come first' in found
        for x, y, z in (("a", "b", "c"), ("b", "c", "a"), ("c", "a", "b"))
    )


def test_two_circles_are_both_named():
    found = faults(circle(("a", "b"), ("b", "a"), ("c", "d"), ("d", "c")))
    assert len(found) == 2 and all("goes round in a circle" in fault for fault in found)


def test_every_fault_is_told_at_once_with_its_own_line():
    bad = COURSE.replace("number = 2", "number = 4").replace('needs = ["steady breathing"]', 'needs = ["flying"]')
    found = faults(bad)
    assert len(found) == 2
    assert found[0].startswith(f"skills.toml:{line_of('needs')}: courses[1].skills[2].needs[1]")
    assert found[1].startswith(f"skills.toml:{line_of('number = 2')}: courses[1].dives[2].number")


def test_a_kind_stands_once():
    (found,) = faults(COURSE + COURSE)
    assert "as courses[1] is; give each kind once" in found


def test_only_kinds_on_which_somebody_is_taught_are_courses():
    assert set(COURSE_KINDS) == {
        "first_experience", "level_1_course", "level_2_course", "further_training", "refresher",
    }  # fmt: skip


NAMES = [f"skill {letter}" for letter in "abcdef"]


@given(
    needs=st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from(NAMES)), max_size=12, unique=True),
    first=st.permutations(NAMES),
)
def test_an_accepted_course_has_every_need_before_the_skill_that_needs_it(needs, first):
    lines = ['[[courses]]\nkind = "refresher"']
    for name in NAMES:
        wanted = ", ".join(f'"{need}"' for one, need in needs if one == name)
        lines.append(f'[[courses.skills]]\nname = "{name}"\nneeds = [{wanted}]')
    for number, part in enumerate((first[:3], first[3:]), 1):
        listed = ", ".join(f'"{name}"' for name in part)
        lines.append(f'[[courses.dives]]\nnumber = {number}\nname = "x"\nwater = "open"\nskills = [{listed}]')
    in_order = all(first.index(need) < first.index(name) for name, need in needs)
    try:
        found: Course | None = read("\n".join(lines)).courses[0]
    except BadRecord:
        found = None
    assert (found is not None) == in_order


def test_names_are_compared_without_capitals_and_spaces():
    assert as_compared("  Mask\tClearing ") == as_compared("mask clearing")
    assert as_compared("mask clearing") != as_compared("maskclearing")
