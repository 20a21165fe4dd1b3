//! A host's list of events, as the framework can bear it.
//!
//! | what a host may list | what the framework (nice-plug 0.4.2) makes of it | what it is shown |
//! |---|---|---|
//! | a time at or after the end of the block | a parameter at the very end is lost; after it, audio is written behind the host's buffer | the block's last sample |
//! | a time before that of the event before it | in a slice it is counted from behind the slice | the time of the event before it |
//! | a value for a parameter whose modulation leaves it where it is, at an end of its range or on one step | the value is lost | modulation off, the value, modulation on |
//! | more notes and controllers in a slice than were set aside | memory is asked for, and a line logged | a cut, which begins a new slice; on one sample, the rest a sample later |
//!
//! | system exclusive with no bytes, or nothing in the place of an event | the host is taken down | neither |
//!
//! The framework reads the list from the first event to the last, and where it cuts the block it
//! reads the event at the cut once more. Every event of the host's is shown as three: what comes
//! before it, itself, what comes after it. A value for no parameter stands for nothing, and for a
//! cut.
//!
//! A transport is not shown at another time than its own: the framework keeps the pointer, and what
//! a transport behind the end says the next block says as well. What does not fit on a block's last
//! sample is left out, being more than a thousand events.

#![expect(
    unsafe_code,
    reason = "a host's list is a table of C functions, trusted to be CLAP"
)]

#[cfg(test)]
mod tests;

use clap_sys::events::{
    CLAP_CORE_EVENT_SPACE_ID, CLAP_EVENT_MIDI_SYSEX, CLAP_EVENT_PARAM_GESTURE_BEGIN,
    CLAP_EVENT_PARAM_GESTURE_END, CLAP_EVENT_PARAM_MOD, CLAP_EVENT_PARAM_VALUE,
    CLAP_EVENT_TRANSPORT, clap_event_header, clap_event_param_mod, clap_event_param_value,
    clap_input_events,
};
use clap_sys::id::CLAP_INVALID_ID;
use std::cell::{Cell, UnsafeCell};
use std::ffi::c_void;
use std::ptr::null;
use std::sync::atomic::{AtomicU64, Ordering};

/// Events shown for one of the host's.
const SHOWN: u32 = 3;

/// Bytes of the largest event that can be shown at another time than its own. CLAP's largest are
/// transports, which never are.
const LARGEST: usize = 128;

/// By how much each parameter is modulated.
pub(super) struct Modulations(Box<[(u32, AtomicU64)]>);

impl Modulations {
    /// Of parameters with these numbers: none is modulated. Allocates.
    pub fn of(mut numbers: Vec<u32>) -> Self {
        numbers.sort_unstable();
        let none = |number| (number, AtomicU64::new(0.0_f64.to_bits()));
        Self(numbers.into_iter().map(none).collect())
    }

    fn at(&self, number: u32) -> Option<&AtomicU64> {
        let found = self.0.binary_search_by_key(&number, |(number, _)| *number);
        found.ok().map(|place| &self.0[place].1)
    }

    /// The amount, if it is not 0.
    fn amount(&self, number: u32) -> Option<f64> {
        let amount = f64::from_bits(self.at(number)?.load(Ordering::Relaxed));
        (amount != 0.0).then_some(amount)
    }

    fn note(&self, number: u32, amount: f64) {
        // The framework pays no heed to what is no number.
        if let Some(place) = self.at(number).filter(|_| amount.is_finite()) {
            place.store(amount.to_bits(), Ordering::Relaxed);
        }
    }
}

/// How far the list has been read.
#[derive(Clone, Copy)]
struct Reading {
    /// Which of the host's events was read last, counted from 1; 0 for none.
    read: u32,
    /// The sample on which that is shown, if it is.
    place: Option<u32>,
    /// The latest sample so far.
    latest: u32,
    /// Where the slice begins.
    slice: u32,
    /// How many events wait in it.
    waiting: u32,
}

impl Reading {
    /// A slice begins on a sample, if that is not where it has begun already.
    fn cut(&mut self, time: u32) {
        if time > self.slice {
            (self.slice, self.waiting) = (time, 0);
        }
    }
}

/// One call's list, in order.
pub(super) struct Order<'a> {
    host: &'a clap_input_events,
    modulations: &'a Modulations,
    /// The last sample of the block.
    last: u32,
    /// How many events may wait in a slice.
    room: u32,
    reading: Cell<Reading>,
    /// What is shown in the place of something else, until the next is asked for.
    shown: UnsafeCell<Shown>,
}

/// Room for one event.
#[repr(C)]
union Shown {
    value: clap_event_param_value,
    modulation: clap_event_param_mod,
    bytes: [u8; LARGEST],
}

impl<'a> Order<'a> {
    /// What `host` lists for a block of `frames` frames, with `room` events at most between two
    /// cuts, 1 or more.
    ///
    /// # Safety
    /// `host` is a list as CLAP has it.
    pub unsafe fn new(
        host: &'a clap_input_events,
        frames: u32,
        room: u32,
        modulations: &'a Modulations,
    ) -> Self {
        let start = Reading {
            read: 0,
            place: None,
            latest: 0,
            slice: 0,
            waiting: 0,
        };
        Self {
            host,
            modulations,
            last: frames.saturating_sub(1),
            room,
            reading: Cell::new(start),
            shown: UnsafeCell::new(Shown {
                bytes: [0; LARGEST],
            }),
        }
    }

    /// The list to hand on; it must not outlive `self`.
    pub fn list(&self) -> clap_input_events {
        clap_input_events {
            ctx: std::ptr::from_ref(self).cast_mut().cast::<c_void>(),
            size: Some(Self::size),
            get: Some(Self::get),
        }
    }

    unsafe extern "C" fn size(list: *const clap_input_events) -> u32 {
        // SAFETY: made by `list`, and asked while that is valid.
        unsafe { (*(*list).ctx.cast::<Self>()).count() }.saturating_mul(SHOWN)
    }

    unsafe extern "C" fn get(
        list: *const clap_input_events,
        index: u32,
    ) -> *const clap_event_header {
        // SAFETY: made by `list`, and asked while that is valid.
        unsafe { (*(*list).ctx.cast::<Self>()).show(index) }
    }

    fn count(&self) -> u32 {
        // SAFETY: the host's own list.
        self.host.size.map_or(0, |size| unsafe { size(self.host) })
    }

    fn show(&self, index: u32) -> *const clap_event_header {
        // SAFETY: the host's own list.
        let event = self
            .host
            .get
            .map_or(null(), |get| unsafe { get(self.host, index / SHOWN) });
        // SAFETY: null, or an event of the host's.
        let Some(header) = (unsafe { event.as_ref() }) else {
            return self.nothing();
        };
        let Some(time) = self.place(index / SHOWN, header) else {
            return self.nothing();
        };
        match (index % SHOWN, self.modulation_under(header)) {
            (1, _) => self.itself(header, time),
            (0, Some((number, _))) => self.modulation(time, number, 0.0),
            (_, Some((number, amount))) => self.modulation(time, number, amount),
            (_, None) => self.nothing(),
        }
    }

    /// The sample on which the host's event `index` is shown, if it is. Read again, it is where it
    /// was.
    fn place(&self, index: u32, header: &clap_event_header) -> Option<u32> {
        let mut reading = self.reading.get();
        if index + 1 == reading.read {
            return reading.place;
        }
        let time = header.time.clamp(reading.latest, self.last);
        reading.place = match kind(header) {
            CLAP_EVENT_MIDI_SYSEX => None,
            CLAP_EVENT_TRANSPORT if time != header.time => None,
            CLAP_EVENT_TRANSPORT | CLAP_EVENT_PARAM_VALUE | CLAP_EVENT_PARAM_MOD => {
                reading.cut(time);
                Some(time)
            }
            CLAP_EVENT_PARAM_GESTURE_BEGIN | CLAP_EVENT_PARAM_GESTURE_END => Some(time),
            _ if reading.waiting < self.room => {
                reading.waiting += 1;
                Some(time)
            }
            _ if reading.slice < self.last => {
                let time = time.max(reading.slice + 1);
                reading.cut(time);
                reading.waiting = 1;
                Some(time)
            }
            _ => None,
        };
        reading.latest = reading.place.unwrap_or(reading.latest);
        reading.read = index + 1;
        self.reading.set(reading);
        reading.place
    }

    /// The event as it is, or on another sample.
    fn itself(&self, header: &clap_event_header, time: u32) -> *const clap_event_header {
        if kind(header) == CLAP_EVENT_PARAM_MOD {
            // SAFETY: its kind says what it is.
            let event = unsafe { &*std::ptr::from_ref(header).cast::<clap_event_param_mod>() };
            self.modulations.note(event.param_id, event.amount);
        }
        if header.time == time {
            return header;
        }
        let size = header.size as usize;
        if !(size_of::<clap_event_header>()..=LARGEST).contains(&size) {
            return self.nothing();
        }
        let shown = self.shown.get();
        // SAFETY: an event is as long as it says; nobody looks at what was shown before.
        unsafe {
            let from = std::ptr::from_ref(header).cast::<u8>();
            from.copy_to_nonoverlapping(shown.cast::<u8>(), size);
            let shown = shown.cast::<clap_event_header>();
            (*shown).time = time;
            shown
        }
    }

    /// The parameter that gets a value, and its modulation, if it has any.
    fn modulation_under(&self, header: &clap_event_header) -> Option<(u32, f64)> {
        if kind(header) != CLAP_EVENT_PARAM_VALUE {
            return None;
        }
        // SAFETY: its kind says what it is.
        let event = unsafe { &*std::ptr::from_ref(header).cast::<clap_event_param_value>() };
        Some((event.param_id, self.modulations.amount(event.param_id)?))
    }

    fn modulation(&self, time: u32, number: u32, amount: f64) -> *const clap_event_header {
        let event = clap_event_param_mod {
            header: header_of::<clap_event_param_mod>(CLAP_EVENT_PARAM_MOD, time),
            param_id: number,
            cookie: std::ptr::null_mut(),
            note_id: -1,
            port_index: -1,
            channel: -1,
            key: -1,
            amount,
        };
        let shown = self.shown.get();
        // SAFETY: nobody looks at what was shown before.
        unsafe { shown.write(Shown { modulation: event }) };
        shown.cast()
    }

    /// A value for no parameter, where the slice begins: if the framework is not there yet it
    /// begins one; otherwise it does nothing.
    fn nothing(&self) -> *const clap_event_header {
        let time = self.reading.get().slice;
        let event = clap_event_param_value {
            header: header_of::<clap_event_param_value>(CLAP_EVENT_PARAM_VALUE, time),
            param_id: CLAP_INVALID_ID,
            cookie: std::ptr::null_mut(),
            note_id: -1,
            port_index: -1,
            channel: -1,
            key: -1,
            value: 0.0,
        };
        let shown = self.shown.get();
        // SAFETY: nobody looks at what was shown before.
        unsafe { shown.write(Shown { value: event }) };
        shown.cast()
    }
}

/// What kind of event it is; no kind that means anything here for those of others than CLAP.
fn kind(header: &clap_event_header) -> u16 {
    match header.space_id {
        CLAP_CORE_EVENT_SPACE_ID => header.type_,
        _ => u16::MAX,
    }
}

fn header_of<Event>(kind: u16, time: u32) -> clap_event_header {
    clap_event_header {
        size: size_of::<Event>() as u32,
        time,
        space_id: CLAP_CORE_EVENT_SPACE_ID,
        type_: kind,
        flags: 0,
    }
}
