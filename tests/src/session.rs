//! A session: a transport that rolls over many blocks, with notes and automation written in
//! beats, and everything the plug-in answers.
//!
//! What is scheduled stands at a song position and sounds whenever the transport comes by, once
//! in every round of a loop. The session runs as fast as it can.

mod clock;

use crate::heard::{Heard, Recording};
use crate::host::{Block, Error, Event, Plugin, Processing, Transport};
use clock::{Clock, Place};

/// How the host cuts time into blocks.
#[derive(Clone, Debug, PartialEq)]
pub enum Blocks {
    /// Always this many frames.
    Of(u32),
    /// These lengths, over and over.
    Pattern(Vec<u32>),
    /// 1 up to `longest` frames, by chance; the same seed, the same lengths.
    Random {
        /// Any number.
        seed: u64,
        /// Frames.
        longest: u32,
    },
}

/// What the plug-in is told about the transport.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Telling {
    /// At the start of each block; a turn of the song (tempo, loop, seek) begins a new block.
    PerBlock,
    /// At a turn inside a block as well, by an event.
    MidBlock,
    /// Nothing at all.
    Nothing,
}

/// A transport rolling through a plug-in.
pub struct Session {
    plugin: Plugin<Processing>,
    clock: Clock,
    signature: (u16, u16),
    telling: Telling,
    /// Ticks a beat in which positions are told; none if they are told as they are.
    ticks: Option<f64>,
    blocks: BlockLengths,
    /// Events at song positions, in order.
    score: Vec<(f64, Event)>,
    /// Events at frames since the session began, in order.
    live: Vec<(u64, Event)>,
    heard: Vec<Heard>,
    /// What comes in at each frame of the session, left and right; none leaves the host's input
    /// as it is.
    incoming: Option<fn(u64) -> [f32; 2]>,
    /// What went out, left and right, if it is kept.
    sound: Option<[Vec<f32>; 2]>,
}

impl Session {
    /// A session at the start of the song, rolling at 120 beats a minute in 4/4, in blocks of 512
    /// frames.
    pub fn new(mut plugin: Plugin<Processing>) -> Self {
        let setup = plugin.audio().setup();
        Self {
            clock: Clock::new(setup.sample_rate),
            signature: (4, 4),
            telling: Telling::PerBlock,
            ticks: None,
            blocks: BlockLengths::new(Blocks::Of(512), setup.max_frames),
            score: Vec::new(),
            live: Vec::new(),
            heard: Vec::new(),
            incoming: None,
            sound: None,
            plugin,
        }
    }

    /// Another tempo, from song position 0 on.
    pub fn tempo(mut self, tempo: f64) -> Self {
        self.tempo_at(f64::NEG_INFINITY, tempo);
        self
    }

    /// Another time signature.
    pub fn in_time(mut self, beats: u16, note_value: u16) -> Self {
        self.signature = (beats, note_value);
        self
    }

    /// Other blocks.
    pub fn blocks(mut self, blocks: Blocks) -> Self {
        let longest = self.plugin.audio().setup().max_frames;
        self.blocks = BlockLengths::new(blocks, longest);
        self
    }

    /// Audio comes in, left and right, by the frame of the session.
    pub fn incoming(mut self, incoming: fn(u64) -> [f32; 2]) -> Self {
        self.incoming = Some(incoming);
        self
    }

    /// Keeps the audio that goes out from now on: see [`Session::sound`].
    pub fn keeping_sound(mut self) -> Self {
        self.sound = Some(Default::default());
        self
    }

    /// Turns of the song are told inside the block in which they happen, by transport events.
    /// If the tempo rises inside the last block, [`Session::run`] goes a little too far.
    pub fn turning_mid_block(mut self) -> Self {
        self.telling = Telling::MidBlock;
        self
    }

    /// Song positions are told as the nearest of so many ticks a beat, as hosts do that count in
    /// ticks of their own (1920, say). The song itself, and what is scheduled in it, stays exact.
    pub fn told_in_ticks(mut self, ticks: f64) -> Self {
        self.ticks = Some(ticks);
        self
    }

    /// The plug-in is never told of any transport; the song goes on behind its back.
    pub fn without_transport(mut self) -> Self {
        self.telling = Telling::Nothing;
        self
    }

    /// The tempo from song position `at` on.
    pub fn tempo_at(&mut self, at: f64, tempo: f64) {
        self.clock.add_tempo(at, tempo);
    }

    /// The loop, in beats, or none.
    pub fn set_loop(&mut self, cycle: Option<(f64, f64)>) {
        self.clock.cycle = cycle;
    }

    /// When the transport comes to `at`, it goes to `to` instead, once.
    pub fn seek_at(&mut self, at: f64, to: f64) {
        self.clock.add_seek(at, to);
    }

    /// The transport goes to `to` before the next block.
    pub fn seek(&mut self, to: f64) {
        self.clock.go(to);
    }

    /// The transport stops before the next block. Blocks go on.
    pub fn stop(&mut self) {
        self.clock.set_playing(false);
    }

    /// The transport rolls on from where it stands.
    pub fn play(&mut self) {
        self.clock.set_playing(true);
    }

    /// An event whenever the transport comes to song position `at`. Events on one frame go out
    /// in the order in which they were scheduled.
    pub fn event(&mut self, at: f64, event: Event) {
        let index = self.score.partition_point(|(other, _)| *other <= at);
        self.score.insert(index, (at, event));
    }

    /// A note of `length` beats on the first channel at song position `at`, played live.
    pub fn note(&mut self, at: f64, length: f64, key: u16, velocity: f64) {
        self.event(at, Event::note_on(0, key, velocity));
        self.event(at + length, Event::note_off(0, key));
    }

    /// The parameter `name` takes the value that `text` stands for at song position `at`.
    ///
    /// # Errors
    /// No such parameter, or no such value.
    pub fn automate(&mut self, at: f64, name: &str, text: &str) -> Result<(), Error> {
        let event = self.plugin.setting(name, text)?;
        self.event(at, event);
        Ok(())
    }

    /// The parameter `name` goes in a straight line between two points (song position, plain
    /// value), told in `steps` steps.
    ///
    /// # Errors
    /// No such parameter.
    pub fn ramp(
        &mut self,
        name: &str,
        (start, first): (f64, f64),
        (end, last): (f64, f64),
        steps: u32,
    ) -> Result<(), Error> {
        let parameter = self.plugin.parameter(name)?.number;
        for step in 0..=steps {
            let part = f64::from(step) / f64::from(steps.max(1));
            let value = first + part * (last - first);
            let event = Event::Value { parameter, value };
            self.event(start + part * (end - start), event);
        }
        Ok(())
    }

    /// An event `frames` frames from now, whatever the transport does.
    pub fn event_in(&mut self, frames: u64, event: Event) {
        let at = self.clock.now() + frames;
        let index = self.live.partition_point(|(other, _)| *other <= at);
        self.live.insert(index, (at, event));
    }

    /// Goes on for so many frames.
    ///
    /// # Errors
    /// What [`Plugin::process`] says.
    pub fn run_frames(&mut self, frames: u64) -> Result<(), Error> {
        let end = self.clock.now() + frames;
        while self.clock.now() < end {
            self.next_block(end)?;
        }
        Ok(())
    }

    /// Goes on for so many seconds.
    ///
    /// # Errors
    /// What [`Plugin::process`] says.
    pub fn run_seconds(&mut self, seconds: f64) -> Result<(), Error> {
        let sample_rate = self.plugin.audio().setup().sample_rate;
        self.run_frames((seconds * sample_rate).round() as u64)
    }

    /// Goes on until `beats` beats have passed, rolling or not, through loops and seeks.
    ///
    /// # Errors
    /// What [`Plugin::process`] says; or the tempo is none at which a beat ever passes.
    pub fn run(&mut self, beats: f64) -> Result<(), Error> {
        let end = self.clock.here().passed + beats;
        loop {
            let left = end - self.clock.here().passed;
            let sample_rate = self.plugin.audio().setup().sample_rate;
            let tempo = self.clock.tempo();
            if !(tempo > 0.0 && tempo.is_finite()) {
                return Err(Error::new(format!(
                    "at a tempo of {tempo} no beat ever passes: run for frames or seconds"
                )));
            }
            let frames = (left * 60.0 * sample_rate / tempo - 1e-3).ceil();
            if frames < 1.0 {
                return Ok(());
            }
            // The tempo may change on the way, so the count is made again after each block.
            self.next_block(self.clock.now().saturating_add(frames as u64))?;
        }
    }

    /// Goes on to song position `to`; it must lie ahead, with no jump in between.
    ///
    /// # Errors
    /// What [`Plugin::process`] says; or the position lies behind.
    pub fn run_to(&mut self, to: f64) -> Result<(), Error> {
        let here = self.clock.here().beats;
        if !self.clock.playing || to < here {
            return Err(Error::new(format!(
                "the transport will not come from {here} to {to}: play or seek first"
            )));
        }
        self.run(to - here)
    }

    /// One block that ends at frame `end` of the session, if it is not done sooner.
    fn next_block(&mut self, end: u64) -> Result<(), Error> {
        while self.clock.turns() {}
        let start = self.clock.now();
        let wanted = u64::from(self.blocks.next()).min(end - start) as u32;
        let mut events = Vec::new();
        let mut places = Vec::new();
        let mut done = 0;
        let transport = self.transport();
        while done < wanted {
            if self.clock.turns() {
                if self.telling == Telling::PerBlock {
                    break;
                }
                if self.telling == Telling::MidBlock {
                    events.push(Event::Transport(self.transport()).at(done));
                }
                continue;
            }
            places.push((done, self.clock.here(), self.clock.tempo()));
            let (frames, stretch) = self.clock.advance(wanted - done);
            let from = self.score.partition_point(|(at, _)| *at < stretch.from);
            let to = self.score.partition_point(|(at, _)| *at < stretch.to);
            for (at, event) in self.score.get(from..to).unwrap_or_default() {
                let frame = self.clock.frame_of(*at).saturating_sub(start) as u32;
                let last = (done + frames).saturating_sub(1).max(done);
                events.push(event.at(frame.clamp(done, last)));
            }
            done += frames;
        }
        let due = self
            .live
            .partition_point(|(at, _)| *at < start + u64::from(done));
        for (at, event) in self.live.drain(..due) {
            events.push(event.at((at - start) as u32));
        }
        events.sort_by_key(|event| event.frame);
        let mut block = Block::of(done);
        if self.telling != Telling::Nothing {
            block = block.transport(transport);
        }
        events.into_iter().for_each(|event| block.push(event));
        self.process(&block, start, &places)?;
        while self.clock.turns() {}
        Ok(())
    }

    fn process(
        &mut self,
        block: &Block,
        start: u64,
        places: &[(u32, Place, f64)],
    ) -> Result<(), Error> {
        let sample_rate = self.plugin.audio().setup().sample_rate;
        let playing = self.clock.playing;
        if let Some(incoming) = self.incoming {
            let [left, right] = self.plugin.audio().input();
            for (frame, at) in (start..).take(block.frames() as usize).enumerate() {
                [left[frame], right[frame]] = incoming(at);
            }
        }
        let heard = self.plugin.process(block)?;
        self.heard.extend(heard.iter().map(|timed| {
            let index = places.partition_point(|(first, ..)| *first <= timed.frame);
            let (first, place, tempo) = places[index - 1];
            let beats = f64::from(timed.frame - first) * tempo / (60.0 * sample_rate);
            Heard {
                frame: start + u64::from(timed.frame),
                beats: place.beats + if playing { beats } else { 0.0 },
                passed: place.passed + beats,
                event: timed.event,
            }
        }));
        if let Some(kept) = &mut self.sound {
            let sides = kept.iter_mut().zip(self.plugin.audio().output());
            sides.for_each(|(kept, side)| kept.extend(&side[..block.frames() as usize]));
        }
        Ok(())
    }

    /// The transport at the coming frame.
    fn transport(&self) -> Transport {
        let (beats, note_value) = self.signature;
        let here = self.clock.here().beats;
        let told = self
            .ticks
            .map_or(here, |ticks| (here * ticks).round() / ticks);
        Transport {
            playing: self.clock.playing,
            cycle: self.clock.cycle,
            ..Transport::rolling(self.clock.tempo())
        }
        .in_time(beats, note_value)
        .at(told)
    }

    /// Song position of the coming frame.
    pub fn position(&self) -> f64 {
        self.clock.here().beats
    }

    /// Frames since the session began.
    pub fn frames(&self) -> u64 {
        self.clock.now()
    }

    /// Everything heard since the session began, or since the last [`Session::forget`].
    pub fn recording(&self) -> Recording {
        Recording::new(self.heard.clone())
    }

    /// The audio that went out, left and right, since [`Session::keeping_sound`]; nothing without.
    pub fn sound(&self) -> [&[f32]; 2] {
        match &self.sound {
            Some([left, right]) => [left, right],
            None => [&[], &[]],
        }
    }

    /// The same, and begins anew, so that a long session need not be kept whole.
    pub fn take_sound(&mut self) -> [Vec<f32>; 2] {
        self.sound.as_mut().map(std::mem::take).unwrap_or_default()
    }

    /// Forgets what was heard.
    pub fn forget(&mut self) {
        self.heard.clear();
    }

    /// The plug-in, between two blocks.
    pub fn plugin(&mut self) -> &mut Plugin<Processing> {
        &mut self.plugin
    }

    /// Ends the session and gives the plug-in back.
    pub fn into_plugin(self) -> Plugin<Processing> {
        self.plugin
    }

    /// Puts another plug-in, or the same after a break, into the place of the present one, which
    /// is given to `change`. The song stays where it is.
    ///
    /// # Errors
    /// Whatever `change` says; the session is over then.
    pub fn change_plugin(
        self,
        change: impl FnOnce(Plugin<Processing>) -> Result<Plugin<Processing>, Error>,
    ) -> Result<Self, Error> {
        Ok(Self {
            plugin: change(self.plugin)?,
            ..self
        })
    }
}

/// The lengths of the coming blocks.
struct BlockLengths {
    blocks: Blocks,
    longest: u32,
    count: u64,
}

impl BlockLengths {
    fn new(blocks: Blocks, longest: u32) -> Self {
        Self {
            blocks,
            longest,
            count: 0,
        }
    }

    fn next(&mut self) -> u32 {
        let count = self.count;
        self.count += 1;
        let frames = match &self.blocks {
            Blocks::Of(frames) => *frames,
            Blocks::Pattern(lengths) if lengths.is_empty() => 1,
            Blocks::Pattern(lengths) => lengths[count as usize % lengths.len()],
            Blocks::Random { seed, longest } => {
                1 + (scatter(seed.wrapping_add(count)) % u64::from((*longest).max(1))) as u32
            }
        };
        frames.clamp(1, self.longest)
    }
}

/// Numbers without a pattern from numbers in a row: the finaliser of the SplitMix64 generator
/// (Steele, Lea, Flood: "Fast splittable pseudorandom number generators", 2014), from memory.
pub(crate) fn scatter(number: u64) -> u64 {
    let mixed = number.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    mixed ^ (mixed >> 31)
}
