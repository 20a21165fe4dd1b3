"""Has plans written as JSON judged by jsonschema 4.26.0 against the schema that is kept beside the
code (draft 2020-12, itself judged against that draft), and every field of it looked through for a
description. What follows from the plans by arithmetic alone is worked out again.
"""

import copy
import json
import sys

from _facts import WORKSPACE, facts
from jsonschema import Draft202012Validator

SCHEMA = WORKSPACE / "core/src/exchange/plan.schema.json"
# What only some plans have to say.
OPTIONAL = {"plan.voices[].own_cycle"}


def check_that_all_is_described(schema, path="plan"):
    assert schema.get("description"), f"{path} has no description"
    for name, field in schema.get("properties", {}).items():
        check_that_all_is_described(field, f"{path}.{name}")
        is_optional = f"{path}.{name}" in OPTIONAL
        assert (name in schema["required"]) != is_optional, f"{path}.{name} may be left out"
    if "properties" in schema:
        assert schema["additionalProperties"] is False, f"{path} may hold anything"
    if "items" in schema:
        check_that_all_is_described(schema["items"], f"{path}[]")
    for name, field in schema.get("$defs", {}).items():
        check_that_all_is_described(field, name)


def check_that_it_can_fail(judge, plan):
    """A plan without a tempo, with a field nobody knows, with bars from 0 is refused; so is a route
    that nobody could play."""

    def without_tempo(plan):
        del plan["tempo"]

    def with_more(plan):
        plan["stages"][0]["loudness"] = 3

    def from_bar_0(plan):
        plan["stages"][0]["first_bar"] = 0

    def for_65_cycles(plan):
        plan["route"]["stages"][0]["dwell_cycles"] = 65

    def for_nine_copies(plan):
        plan["route"]["stages"][0]["ahead_steps"].append(0)

    def by_a_leap(plan):
        plan["route"]["stages"][0]["motion"] = "leap"

    route = (for_65_cycles, for_nine_copies, by_a_leap)
    for damage in (without_tempo, with_more, from_bar_0, *route):
        damaged = copy.deepcopy(plan)
        damage(damaged)
        assert not judge.is_valid(damaged), f"the schema lets a plan pass: {damage.__name__}"


def check_arithmetic(plan):
    def seconds(beats):
        """Each tempo for as long as it is in force."""
        tempi = plan["tempi"]
        ends = [step["from_beat"] for step in tempi[1:]] + [float("inf")]
        spans = [min(end, beats) - step["from_beat"] for step, end in zip(tempi, ends)]
        return sum(60 / step["tempo"] * max(span, 0) for step, span in zip(tempi, spans))

    assert plan["tempi"][0] == {"from_beat": 0, "tempo": plan["tempo"]}
    told = plan["title"] == "performed on cue"
    assert [step["tempo"] for step in plan["tempi"]] == ([108, 54] if told else [108])
    near = lambda a, b: abs(a - b) < 1e-6 * max(1, abs(b))
    at = 0
    for number, stage in enumerate(plan["stages"], 1):
        assert stage["stage"] == number
        assert near(stage["start_beat"], at), (plan["title"], number)
        assert near(stage["start_seconds"], seconds(at))
        assert stage["first_bar"] == 1 + int((at + 1e-6) // plan["beats_per_bar"])
        at += stage["length_beats"]
        assert stage["last_bar"] == 1 + int((at - 1e-6) // plan["beats_per_bar"])
        locked = [copy for copy in stage["copies"] if copy["doing"] == "locked"]
        assert len(locked) == len(stage["alignments"])
        for place in stage["alignments"]:
            assert place <= len(plan["alignments"])
    lasts = plan["lasts"]
    assert near(lasts["chosen_seconds"], seconds(lasts["chosen_beats"]))
    assert plan["whole"] == near(at, lasts["chosen_beats"]), plan["title"]
    assert lasts["shortest_beats"] <= lasts["chosen_beats"] <= lasts["longest_beats"]
    phrase = plan["phrase"]
    assert near(phrase["length_steps"] * phrase["step_beats"], phrase["length_beats"])
    names = [voice["name"] for voice in plan["voices"]]
    copies = [copy["copy"] for copy in plan["stages"][0]["copies"]]
    expected = ["Steady"] + [f"Copy {copy}" for copy in copies]
    assert names in (expected, expected + ["Resulting line"]), names


def check_route(plan):
    """The list says what the stages say: where copy 1 is locked, in order, and for how long."""
    route = plan["route"]
    assert route["written"] == (plan["title"] == "written by hand")
    assert [stage["stage"] for stage in route["stages"]] == list(
        range(1, len(route["stages"]) + 1)
    )
    assert (route["afterwards"]["then"] == "repeat") == plan["endless"], plan["title"]
    if not route["written"]:
        return
    locked = [
        (stage["copies"][0]["from_steps"], stage["length_beats"])
        for stage in plan["stages"]
        if stage["copies"][0]["doing"] == "locked"
    ]
    told = [
        (
            stage["ahead_steps"][0],
            (stage["dwell_cycles"] or plan["process"]["dwell_cycles"])
            * plan["phrase"]["length_beats"],
        )
        for stage in route["stages"]
    ]
    assert locked == told, (locked, told)
    assert [stage["stage"] for stage in route["stages"] if stage["dwell_cycles"] is None] == [3]


def check_performed(plan):
    """Of a cycle of 4 beats, cues 30 and 100.5 beats after the origin are followed at 32 and 104: what
    was before was performed, what comes after is made by the settings or by the list."""
    until = plan["performed_until"]
    made = "written" if plan["route"]["written"] else "generated"
    cued = [stage["start_beat"] for stage in plan["stages"] if stage["on_cue"]]
    told = plan["title"] == "performed on cue"
    assert (until, cued) == ((104, [32, 104]) if told else (None, [])), plan["title"]
    for stage in plan["stages"]:
        end = stage["start_beat"] + stage["length_beats"]
        performed = until is not None and end <= until + 1e-6
        assert stage["made"] == ("performed" if performed else made), (plan["title"], stage["stage"])


def main():
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    check_that_all_is_described(schema)
    judge = Draft202012Validator(schema)
    plans = facts("plan_facts")
    check_that_it_can_fail(judge, plans[0])
    for plan in plans:
        error = next(judge.iter_errors(plan), None)
        assert error is None, f"{plan['title']}: {error.json_path}: {error.message}"
        check_arithmetic(plan)
        check_route(plan)
        check_performed(plan)
    assert [plan["title"] for plan in plans if not plan["whole"]] == ["too long"]
    stages = sum(len(plan["stages"]) for plan in plans)
    print(f"{len(plans)} plans of {stages} stages are as the schema says")


if __name__ == "__main__":
    sys.exit(main())
