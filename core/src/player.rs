//! The player: a block of time in, timed events out.

mod casting;

pub use casting::Casting;

use crate::count_in::{Click, CountIn};
use crate::ledger::{Ledger, Message, Touch};
use crate::note::{Channel, Key, Velocity};
use crate::part::Part;
use crate::process::{Edition, Process, VoiceNote};
use crate::settings::OutputSettings;
use crate::time::{Beats, Block, HAIR, LATE, Span};
use crate::touch::perform;

/// The controller that places a channel between left and right (MIDI 1.0: 10, pan).
pub const PAN: u8 = 10;

/// Something to send, and on which frame of the block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Frames after the start of the block.
    pub frame: u32,
    /// What.
    pub message: Message,
}

/// Beats beyond a block in which the next note is looked for, so that it need not be looked for in
/// every block. Longer would be no gain: in most music somebody strikes by then.
const AHEAD: Beats = 0.25;

/// Renders a process block by block. Its only memory is what sounds and how far it has come; what
/// else it remembers, it could ask again.
#[derive(Debug, Default)]
pub struct Player {
    ledger: Ledger,
    /// Up to where everything has been sent; none if the next block starts afresh.
    come_to: Option<Beats>,
    /// Up to where the steady voice has been played, as it is written, since it gives way to a
    /// player.
    steady_to: Option<Beats>,
    /// Whether nothing has been played since the start: what would have been played before is struck
    /// at once.
    opens: bool,
    /// Where nothing begins.
    quiet: Option<Quiet>,
    /// The pan last sent to each channel, and for which process.
    panned: [Option<u8>; 16],
    panned_for: Option<Edition>,
    /// How often all voices fell silent at once.
    silences: u32,
}

/// A stretch in which a process, played by nobody's hand, begins no note.
#[derive(Clone, Copy, Debug)]
struct Quiet {
    of: Edition,
    span: Span,
}

impl Quiet {
    fn holds(&self, process: &Process, span: Span) -> bool {
        let within = self.span.start <= span.start && span.end <= self.span.end - HAIR;
        within && self.of == process.edition()
    }
}

impl Player {
    /// What sounds.
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// Up to where everything has been sent, or `otherwise` if the next block starts afresh.
    pub fn come_to(&self, otherwise: Beats) -> Beats {
        self.come_to.unwrap_or(otherwise)
    }

    /// How often all voices have been silenced at once, wherever they were: for whoever sounds with
    /// them. Comes round after 2^32.
    pub fn silences(&self) -> u32 {
        self.silences
    }

    /// Plays what `process` has for the frames `from .. to` of `block`, after what is already
    /// sent, and what is clicked, as `casting` says. In order of time, ends before beginnings; what
    /// is struck on one frame is one stroke.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by the events in the block.
    pub fn play(
        &mut self,
        process: &Process,
        (count_in, casting): (CountIn, Casting),
        block: &Block,
        frames: std::ops::Range<u32>,
        mut send: impl FnMut(Event),
    ) {
        let part = Block {
            start: block.start + f64::from(frames.start) * block.beats_per_frame,
            frames: frames.end - frames.start,
            ..*block
        };
        let span = Span::new(self.come_to(part.span().start), part.span().end);
        let mut at = |beats: Beats, message| {
            send(Event {
                frame: frames.start + part.frame_of(beats),
                message,
            });
        };
        self.pan(process, |message| at(part.start, message));
        let steady = casting.steady_in(span, self.steady_to);
        let mut clicks = count_in.clicks(span).peekable();
        let mut moment = None;
        let opens = self.opens || self.come_to.is_none();
        let by_itself = casting == Casting::default();
        let is_quiet = by_itself && self.quiet.is_some_and(|quiet| quiet.holds(process, span));
        if !is_quiet {
            let ahead = if by_itself { AHEAD } else { 0.0 };
            let reach = Span::new(span.start, span.end + ahead);
            let mut notes = casting.notes(process, (reach, opens), steady).peekable();
            while let Some(note) = notes.next_if(|note| !by_itself || note.on < span.end) {
                let frame = part.frame_of(note.on);
                if moment.is_none_or(|(before, _)| before != frame) {
                    if let Some((_, before)) = moment {
                        self.ledger.sound(|message| at(before, message));
                    }
                    while let Some(click) = clicks.next_if(|click| part.frame_of(click.on) <= frame)
                    {
                        self.click(&click, &mut at);
                    }
                }
                moment = Some((frame, note.on));
                self.end_notes_until(note.on, &mut at);
                let place = (channel_of(note.part, &process.settings().output), note.key);
                self.ledger.strike(
                    note.part,
                    note.off,
                    place,
                    touch_of(process, &note),
                    |message| {
                        at(note.on, message);
                    },
                );
            }
            let next = notes.peek().map_or(reach.end, |next| next.on);
            self.quiet = by_itself.then(|| Quiet {
                of: process.edition(),
                span: Span::new(span.end, next),
            });
        }
        if let Some((_, last)) = moment {
            self.ledger.sound(|message| at(last, message));
        }
        for click in clicks {
            self.click(&click, &mut at);
        }
        self.steady_to = steady.map(|steady| steady.end);
        if span.end > span.start {
            self.end_notes_until(span.end, &mut at);
            self.come_to = Some(span.end);
            self.opens = false;
        }
    }

    fn click(&mut self, click: &Click, at: &mut impl FnMut(Beats, Message)) {
        self.end_notes_until(click.on, at);
        self.ledger
            .click(click.off, click.place(), click.velocity(), |message| {
                at(click.on, message);
            });
    }

    /// Voices fall silent at once; the next block starts afresh.
    pub fn stop(&mut self, frame: u32, mut send: impl FnMut(Event)) {
        self.ledger
            .silence(|_| true, |message| send(Event { frame, message }));
        self.come_to = None;
        self.steady_to = None;
        self.silences = self.silences.wrapping_add(1);
    }

    /// The next block starts afresh, from `at` even if that is before the block.
    pub fn start_from(&mut self, at: Beats) {
        self.come_to = Some(at);
        self.opens = true;
    }

    /// The next block starts afresh, but for what is at most [`LATE`] past: that is struck at once.
    /// Unless it is already known from where it starts.
    pub fn start_late(&mut self, now: Beats) {
        if self.come_to.is_none() {
            self.start_from(now - LATE);
        }
    }

    /// Parts that have just come into use strike what they would have struck at most [`LATE`]
    /// ago.
    pub fn join_late(
        &mut self,
        process: &Process,
        joins: impl Fn(Part) -> bool,
        mut send: impl FnMut(Event),
    ) {
        let Some(now) = self.come_to else { return };
        let mut at_once = |message| send(Event { frame: 0, message });
        let late = perform(process, Span::new(now - LATE, now), true);
        for note in late.filter(|note| joins(note.part)) {
            let place = (channel_of(note.part, &process.settings().output), note.key);
            if note.off > now {
                self.ledger.strike(
                    note.part,
                    note.off,
                    place,
                    touch_of(process, &note),
                    &mut at_once,
                );
            }
        }
        self.ledger.sound(at_once);
    }

    /// Parts that `process` does not have, or has no longer, fall silent at once.
    pub fn silence_unused(&mut self, process: &Process, frame: u32, mut send: impl FnMut(Event)) {
        self.ledger.silence(
            |part| part.is_some_and(|part| !process.plays(part)),
            |message| send(Event { frame, message }),
        );
    }

    /// A key the player's own hand strikes.
    pub fn press(
        &mut self,
        frame: u32,
        (channel, key): (Channel, Key),
        velocity: Velocity,
        mut send: impl FnMut(Event),
    ) {
        self.ledger.press(channel, key, velocity, |message| {
            send(Event { frame, message })
        });
    }

    /// A key the player's own hand lets go; `None` stands for all.
    pub fn lift(
        &mut self,
        frame: u32,
        channel: Option<Channel>,
        key: Option<Key>,
        mut send: impl FnMut(Event),
    ) {
        self.ledger
            .lift(channel, key, |message| send(Event { frame, message }));
    }

    /// Forgets where channels were placed, so that they are told again.
    pub fn pan_anew(&mut self) {
        self.panned = [None; 16];
        self.panned_for = None;
    }

    fn end_notes_until(&mut self, until: Beats, at: &mut impl FnMut(Beats, Message)) {
        while let Some(off) = self.ledger.next_off().filter(|off| *off <= until) {
            self.ledger.release_next(|message| at(off, message));
        }
    }

    fn pan(&mut self, process: &Process, mut send: impl FnMut(Message)) {
        let output = &process.settings().output;
        let edition = Some(process.edition());
        let is_told = std::mem::replace(&mut self.panned_for, edition) == edition;
        if output.all_on_one || is_told {
            return;
        }
        for part in process.parts() {
            let channel = channel_of(part, output);
            let value = pan_of(part, process.voices().count(), output.width);
            let panned = &mut self.panned[usize::from(channel.number())];
            if panned.replace(value) != Some(value) {
                send(Message::Control {
                    channel,
                    controller: PAN,
                    value,
                });
            }
        }
    }
}

/// The channel of a part: the first for the steady voice, the k-th after it for copy k, the
/// eleventh for the resulting line. The tenth is left out: it is percussion in General MIDI.
pub fn channel_of(part: Part, output: &OutputSettings) -> Channel {
    const ELEVENTH: u8 = 10;
    let number = match part {
        _ if output.all_on_one => 0,
        Part::ResultingLine => ELEVENTH,
        Part::Steady | Part::Copy(_) => part.index() as u8,
    };
    Channel::new(number).unwrap_or(Channel::FIRST)
}

/// How a note is struck: as hard as it is played and, where that is wanted, as far from its key as
/// it was said. A fold, an octave and a copy move the key and leave that as it is.
fn touch_of(process: &Process, note: &VoiceNote) -> Touch {
    let said = process.phrase().notes()[note.index].said;
    let is_told = process.settings().output.tuned;
    Touch {
        velocity: note.velocity,
        cents: said.filter(|_| is_told).map(|said| said.cents),
    }
}

/// Where a voice sits between left (0) and right (127), 64 being the centre: the steady voice
/// left of it, the copies fanned out from left to right, the resulting line in the middle.
///
/// At full width the voices stand evenly from edge to edge.
pub fn pan_of(part: Part, voices: usize, width: f64) -> u8 {
    let last = voices.saturating_sub(1).max(1) as f64;
    let place = if voices < 2 || !part.is_voice() {
        0.0
    } else {
        2.0 * part.index() as f64 / last - 1.0
    };
    (64.0 + 63.0 * width.clamp(0.0, 1.0) * place).round() as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metre::Metre;
    use crate::phrase::Phrase;
    use crate::settings::Settings;

    fn render(process: &Process, blocks: &[u32]) -> Vec<Event> {
        let mut player = Player::default();
        let mut events = Vec::new();
        let mut begun = 0;
        for frames in blocks {
            let start = f64::from(begun) * 120.0 / (60.0 * 48_000.0);
            let block = Block::new(start, 120.0, 48_000.0, *frames);
            let none = CountIn {
                bars: 0,
                metre: Metre::COMMON,
                origin: 0.0,
                goes_on: false,
            };
            player.play(
                process,
                (none, Casting::default()),
                &block,
                0..*frames,
                |event| {
                    events.push(Event {
                        frame: begun + event.frame,
                        ..event
                    });
                },
            );
            begun += frames;
        }
        events
    }

    fn process() -> Process {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
        Process::new(phrase, Settings::default(), 0.0)
    }

    #[test]
    fn a_sixteenth_at_120_is_six_thousand_frames() {
        let onsets: Vec<_> = render(&process(), &[24_000])
            .into_iter()
            .filter(|e| {
                matches!(
                    e.message,
                    Message::NoteOn {
                        channel: Channel::FIRST,
                        ..
                    }
                )
            })
            .map(|e| e.frame)
            .collect();
        assert_eq!(onsets, [0, 6_000, 12_000, 18_000]);
    }

    #[test]
    fn how_time_is_cut_into_blocks_is_not_heard() {
        let whole = render(&process(), &[48_000]);
        assert_eq!(whole, render(&process(), &[64; 750]));
        assert_eq!(whole, render(&process(), &[1, 7, 30_000, 17_991, 1]));
    }

    #[test]
    fn the_steady_voice_sits_left_and_the_last_copy_right() {
        assert_eq!(
            (pan_of(Part::Steady, 2, 1.0), pan_of(Part::COPY_1, 2, 1.0)),
            (1, 127)
        );
        assert_eq!(
            (pan_of(Part::Steady, 2, 0.6), pan_of(Part::COPY_1, 2, 0.6)),
            (26, 102)
        );
        assert_eq!(pan_of(Part::Steady, 1, 1.0), 64);
        assert_eq!(pan_of(Part::ALL[3], 9, 0.0), 64);
    }
}
