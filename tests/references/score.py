"""Has written scores judged by four readers that share no code: lxml 6.1.3 against the schema of
MusicXML 4.0 (it comes in the package musicxml 1.6.3), music21 10.5.1, and verovio 6.4.1.

music21 plays each score out, repeat by repeat, and must find the notes of the piece, each at its
time. Where a part drifts, the score shows only what it leaves from, so those cycles are left out;
where each moving part counts its own beat one, only how often it plays each key is compared. The
resulting line joins in for some plays of a repeat: for those which the words above the bar name,
and which the notes' time-only repeats.
"""

import collections
import importlib.metadata
import pathlib
import re
import sys
import tempfile

import music21
import verovio
from _facts import facts
from lxml import etree

# What the schema takes from two others, which are on the web: the few attributes it names.
STUBS = {
    "xml.xsd": ("http://www.w3.org/XML/1998/namespace", ["lang", "space"]),
    "xlink.xsd": (
        "http://www.w3.org/1999/xlink",
        ["href", "type", "role", "title", "show", "actuate"],
    ),
}


class Stubs(etree.Resolver):
    def resolve(self, url, _, context):
        for name, (namespace, attributes) in STUBS.items():
            if url.endswith(name):
                lines = "".join(f'<xs:attribute name="{a}" type="xs:string"/>' for a in attributes)
                schema = (
                    '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"'
                    f' targetNamespace="{namespace}">{lines}</xs:schema>'
                )
                return self.resolve_string(schema, context)
        return None


def schema():
    # Not imported: the package itself needs others, its schema does not.
    files = importlib.metadata.files("musicxml")
    path = next(file.locate() for file in files if file.name == "musicxml_4_0.xsd")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Stubs())
    return etree.XMLSchema(etree.parse(str(path), parser))


def plain_parser():
    return etree.XMLParser(load_dtd=False, no_network=True)


def check_that_it_can_fail(judge, path):
    """A score with a bar line that repeats "sideways", and one without a duration, are refused."""
    for damage in [
        lambda root: root.find(".//repeat").set("direction", "sideways"),
        lambda root: root.find(".//note").remove(root.find(".//note/duration")),
    ]:
        tree = etree.parse(path, plain_parser())
        damage(tree.getroot())
        assert not judge.validate(tree), "the schema lets a damaged score pass"


def is_struck(note):
    return note.find("pitch") is not None or note.find("unpitched") is not None


def keys_by_place(root, part):
    """Of a part without pitch: which key stands where, by its instruments, in letter and octave."""
    numbers = {
        instrument.get("id"): int(instrument.find("midi-unpitched").text) - 1
        for instrument in root.iter("midi-instrument")
    }
    places = {}
    for note in part.iter("note"):
        if (place := note.find("unpitched")) is not None:
            at = (place.find("display-step").text, int(place.find("display-octave").text))
            key = numbers[note.find("instrument").get("id")]
            assert places.setdefault(at, key) == key, "two instruments in one place"
    assert len(set(places.values())) == len(places), "one instrument in two places"
    # The higher the key the higher it stands.
    heights = sorted(places, key=lambda at: (at[1], "CDEFGAB".index(at[0])))
    assert [places[at] for at in heights] == sorted(places.values())
    return places


def lengths_of(part):
    """How long each bar is, in quarters, by what is in it."""
    divisions = int(part.find(".//divisions").text)
    for measure in part:
        notes = [note for note in measure.findall("note") if note.find("voice").text == "1"]
        yield sum(int(n.find("duration").text) for n in notes if n.find("chord") is None) / divisions


def check_bars(case, root):
    """The time signature is the one that the phrase lies in, and where a pick-up leads to a bar, only
    it and the bar before the repeat are shorter than that says."""
    for part in root.findall("part"):
        if case["metre"]:
            signatures = {
                (time.find("beats").text + "/" + time.find("beat-type").text)
                for time in part.iter("time")
            }
            assert signatures == {case["metre"]}, (case["name"], signatures)
        full, lengths = None, []
        for measure, length in zip(part, lengths_of(part), strict=True):
            if (time := measure.find("attributes/time")) is not None:
                count = sum(map(int, time.find("beats").text.split("+")))
                full = count * 4 / int(time.find("beat-type").text)
            lengths.append((length, measure.get("implicit") == "yes"))
            assert (length != full) == lengths[-1][1], (case["name"], measure.get("number"))
        # A third of a quarter is written as an eighth where all are divided so.
        led = case["pick_up"] * case["beat"] / 960 / 960
        if case["pick_up"]:
            assert abs(lengths[0][0] - led) < 1e-9 and lengths[0][1], (case["name"], lengths[0], led)
            short = [length for length, is_short in lengths if is_short]
            pairs = zip(short[::2], short[1::2], strict=True)
            assert {sum(pair) for pair in pairs} == {full}, (case["name"], short)
        else:
            assert not any(is_short for _, is_short in lengths)


def repeats(root):
    """How often each stretch of the first part is played."""
    plays, inside = [], False
    for measure in root.find("part"):
        start = measure.find("barline[@location='left']/repeat[@direction='forward']")
        stop = measure.find("barline[@location='right']/repeat[@direction='backward']")
        inside = inside or start is not None
        if stop is not None:
            plays.append(int(stop.get("times")))
            inside = False
        elif not inside:
            plays.append(1)
    return plays


def plays_in_words(words, times):
    """In which plays of a repeat a part sounds, as a player reads it; none if nothing is said."""
    first, last, said = 1, times, False
    for line in words.split("\n"):
        if entry := re.fullmatch(r"enters after the (\d+)\w\w time,?", line):
            first, said = int(entry[1]) + 1, True
        elif exit := re.fullmatch(r"leaves (?:before the (last)(?: time)?|after the (\d+)\w\w time)", line):
            last, said = times - 1 if exit[1] else int(exit[2]), True
        elif only := re.fullmatch(r"only the (?:(last)|(\d+)\w\w) time", line):
            first = last = times if only[1] else int(only[2])
            said = True
    return set(range(first, last + 1)) if said else None


def partial_plays(part):
    """Per bar, in which plays it sounds; checks that words and notes agree. A repeat's words stand
    above its first bar."""
    plays, stretch = [], []
    for measure in part:
        stretch.append(measure)
        right = measure.find("barline[@location='right']/repeat[@direction='backward']")
        opened = stretch[0].find("barline[@location='left']/repeat") is not None
        if opened and right is None:
            continue
        times = int(right.get("times")) if right is not None else 1
        words = "\n".join(words.text for words in stretch[0].iter("words"))
        said = plays_in_words(words, times)
        for bar in stretch:
            only = {note.get("time-only") for note in bar.iter("note") if is_struck(note)}
            meant = {",".join(map(str, sorted(said)))} if said else {None}
            assert only <= meant, (measure.get("number"), words, only)
            plays.append(said)
        stretch = []
    return plays


def played_out(part, beat, plays, keys, lengths):
    """(ticks, key) of every stroke, with all repeats, and how long it all lasts."""
    strokes, now, stretch = [], 0, []
    measures = part.getElementsByClass("Measure")
    for measure, sounds, length in zip(measures, plays, lengths, strict=True):
        if isinstance(measure.leftBarline, music21.bar.Repeat):
            assert not stretch, "a repeat within a repeat"
        stretch.append((measure, length, sounds))
        right = measure.rightBarline
        is_repeat = isinstance(right, music21.bar.Repeat)
        opened = isinstance(stretch[0][0].leftBarline, music21.bar.Repeat)
        if opened and not is_repeat:
            continue
        for play in range(right.times if is_repeat else 1):
            for bar, bar_length, sounds in stretch:
                is_heard = sounds is None or play + 1 in sounds
                for sound in bar.recurse().notes if is_heard else []:
                    at = now + sound.getOffsetInHierarchy(bar)
                    for note in getattr(sound, "notes", [sound]):
                        if note.tie is None or note.tie.type not in ("stop", "continue"):
                            is_pitched = hasattr(note, "pitch")
                            key = note.pitch.midi if is_pitched else keys[note.displayStep, note.displayOctave]
                            strokes.append((round(at * 960 * 960 / beat), key))
                now += bar_length
        stretch = []
    return sorted(strokes), round(now * 960 * 960 / beat)


def compare(case, index, strokes):
    part = case["parts"][index]
    meant = [tuple(note) for note in part["played"]]
    drifts = part["drifts"]
    locked = lambda notes: [
        (at, key) for at, key in notes if not any(a <= at < b for a, b in drifts)
    ]
    found, meant = locked(strokes), sorted(locked(meant))
    if case["layout"] == "OwnBeatOne" and part["moves"]:
        count = lambda notes: collections.Counter(key for _, key in notes)
        assert count(found) == count(meant), f"{case['name']} {index}"
    else:
        differ = [pair for pair in zip(found, meant) if pair[0] != pair[1]]
        assert found == meant, f"{case['name']}, part {index}: {differ[:3]} {len(found)} {len(meant)}"
    return len(found)


def noteheads_by_verovio(text):
    toolkit = verovio.toolkit()
    toolkit.setOptions({"pageWidth": 2100, "pageHeight": 2970, "breaks": "auto"})
    assert toolkit.loadData(text)
    pages = [toolkit.renderToSVG(page + 1) for page in range(toolkit.getPageCount())]
    return sum(len(re.findall(r'class="note"', page)) for page in pages)


def main():
    verovio.enableLog(verovio.LOG_ERROR)
    judge = schema()
    compared = 0
    with tempfile.TemporaryDirectory() as folder:
        cases = facts("score_facts", folder)
        for case in cases:
            path = str(pathlib.Path(folder) / f"{case['name']}.musicxml")
            tree = etree.parse(path, plain_parser())
            assert judge.validate(tree), f"{case['name']}: {judge.error_log.last_error}"
            if case is cases[0]:
                check_that_it_can_fail(judge, path)
            root = tree.getroot()
            assert repeats(root) == case["repeats"], (case["name"], repeats(root), case["repeats"])
            check_bars(case, root)

            heads = 0
            for part, meant in zip(root.findall("part"), case["parts"], strict=True):
                notes = [note for note in part.iter("note") if is_struck(note)]
                clef = part.find(".//clef/sign").text
                assert (clef == "percussion") == (case["name"] == "percussion"), case["name"]
                assert all((note.find("pitch") is None) == (clef == "percussion") for note in notes)
                struck = [note for note in notes if note.find("tie[@type='stop']") is None]
                assert len(struck) == meant["written"], (case["name"], len(struck), meant["written"])
                heads += len(notes)
            drawn = noteheads_by_verovio(pathlib.Path(path).read_text(encoding="utf-8"))
            assert drawn == heads, f"{case['name']}: verovio draws {drawn} of {heads}"

            read = music21.converter.parse(path, forceSource=True).toSoundingPitch()
            for index, part in enumerate(read.parts):
                plays = partial_plays(root.findall("part")[index])
                written = root.findall("part")[index]
                keys, lengths = keys_by_place(root, written), lengths_of(written)
                strokes, length = played_out(part, case["beat"], plays, keys, lengths)
                assert length == case["length"], (case["name"], length, case["length"])
                compared += compare(case, index, strokes)
    print(f"{len(cases)} scores are valid and drawn whole; {compared} notes are where they belong")


if __name__ == "__main__":
    sys.exit(main())
