"""Has a written MIDI file read by mido 1.3.3, symusic 0.6.0 and pretty_midi 0.2.11: three readers
that share no code. All must find the notes, names, markers and tempos that were meant.
"""

import pathlib
import sys
import tempfile

import mido
import pretty_midi
import symusic
from _facts import facts

TICKS = 960


def by_mido(path):
    """Format, then per track its name, channel-tagged notes and other marks, by absolute tick."""
    file = mido.MidiFile(path)
    assert (file.type, file.ticks_per_beat) == (1, TICKS), (file.type, file.ticks_per_beat)
    tracks = []
    for track in file.tracks:
        tick, sounding, notes, marks = 0, {}, [], []
        for message in track:
            tick += message.time
            if message.type == "note_on" and message.velocity > 0:
                key = (message.channel, message.note)
                assert key not in sounding, f"struck again while it sounds: {message} at {tick}"
                sounding[key] = (tick, message.velocity)
            elif message.type in ("note_on", "note_off"):
                on, velocity = sounding.pop((message.channel, message.note))
                notes.append((message.channel, on, tick, message.note, velocity))
            elif message.type == "marker":
                marks.append([tick, message.text])
            elif message.type == "set_tempo":
                marks.append([tick, round(mido.tempo2bpm(message.tempo), 3)])
        assert not sounding, f"notes without an end: {sounding}"
        tracks.append((track.name, sorted(notes), marks))
    return tracks


# Two names that pretty_midi has otherwise than the published list.
OTHERWISE = {"Clavi": "Clavinet", "Synth Voice": "Synth Choir"}


def check_programs(names):
    """The programs of General MIDI, in order, as pretty_midi lists them: letters and figures."""
    plain = lambda name: "".join(c for c in name.lower() if c.isalnum())
    theirs = [plain(name) for name in pretty_midi.constants.INSTRUMENT_MAP]
    ours = [plain(OTHERWISE.get(name, name)) for name in names]
    assert ours == theirs, next(pair for pair in zip(ours, theirs) if pair[0] != pair[1])


def main():
    with tempfile.TemporaryDirectory() as folder:
        path = str(pathlib.Path(folder) / "piece.mid")
        meant = facts("piece_facts", path)
        conductor, *voices = by_mido(path)
        score = symusic.Score(path)
        pretty = pretty_midi.PrettyMIDI(path)

    check_programs(meant["programs"])
    assert conductor[0] == meant["name"], conductor[0]
    words = [mark for mark in conductor[2] if isinstance(mark[1], str)]
    tempos = [mark for mark in conductor[2] if not isinstance(mark[1], str)]
    assert words == meant["markers"], (words[:3], meant["markers"][:3])
    assert tempos == meant["tempo"], (tempos, meant["tempo"])
    assert [[t.time, round(t.qpm, 3)] for t in score.tempos] == meant["tempo"]
    assert len(voices) == len(meant["tracks"]) == len(score.tracks) == len(pretty.instruments)

    count = 0
    for track, (name, notes, _), symusic_track, instrument in zip(
        meant["tracks"], voices, score.tracks, pretty.instruments
    ):
        wanted = sorted((track["channel"], *note) for note in track["notes"])
        assert name == track["name"] == symusic_track.name == instrument.name, name
        assert notes == wanted, next(pair for pair in zip(notes, wanted) if pair[0] != pair[1])
        read = sorted((n.time, n.time + n.duration, n.pitch, n.velocity) for n in symusic_track.notes)
        assert read == [note[1:] for note in wanted], f"symusic reads {name} otherwise"
        ticks = sorted(
            (pretty.time_to_tick(n.start), pretty.time_to_tick(n.end), n.pitch, n.velocity)
            for n in instrument.notes
        )
        # pretty_midi keeps seconds: a tick may come back as its neighbour.
        assert len(ticks) == len(wanted)
        for found, note in zip(ticks, (note[1:] for note in wanted)):
            assert abs(found[0] - note[0]) <= 1 and abs(found[1] - note[1]) <= 1, (found, note)
        count += len(wanted)
    print(f"{count} notes, {len(words)} markers: mido, symusic and pretty_midi agree")


if __name__ == "__main__":
    sys.exit(main())
