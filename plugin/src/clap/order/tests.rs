//! The list, read as the framework reads it.

use super::*;
use clap_sys::events::{CLAP_EVENT_NOTE_ON, clap_event_note, clap_event_transport};
use proptest::prelude::*;

const PARAMETERS: [u32; 3] = [7, 300, 12];

/// What a host may list.
#[derive(Clone, Copy, Debug, PartialEq)]
enum What {
    /// A note of this number.
    Note(i32),
    /// A parameter and its value.
    Value(u32, f64),
    /// A parameter and by how much it is moved.
    Modulation(u32, f64),
    Transport,
}

/// One event of a host's.
enum Event {
    Note(clap_event_note),
    Value(clap_event_param_value),
    Modulation(clap_event_param_mod),
    Transport(clap_event_transport),
}

impl Event {
    fn new(time: u32, what: What) -> Self {
        match what {
            What::Note(note_id) => Self::Note(clap_event_note {
                header: header_of::<clap_event_note>(CLAP_EVENT_NOTE_ON, time),
                note_id,
                port_index: 0,
                channel: 0,
                key: 60,
                velocity: 0.7,
            }),
            What::Value(param_id, value) => Self::Value(clap_event_param_value {
                header: header_of::<clap_event_param_value>(CLAP_EVENT_PARAM_VALUE, time),
                param_id,
                cookie: std::ptr::null_mut(),
                note_id: -1,
                port_index: -1,
                channel: -1,
                key: -1,
                value,
            }),
            What::Modulation(param_id, amount) => Self::Modulation(clap_event_param_mod {
                header: header_of::<clap_event_param_mod>(CLAP_EVENT_PARAM_MOD, time),
                param_id,
                cookie: std::ptr::null_mut(),
                note_id: -1,
                port_index: -1,
                channel: -1,
                key: -1,
                amount,
            }),
            What::Transport => {
                // SAFETY: numbers throughout, for which all zeros is zero.
                let mut transport: clap_event_transport = unsafe { std::mem::zeroed() };
                transport.header = header_of::<clap_event_transport>(CLAP_EVENT_TRANSPORT, time);
                Self::Transport(transport)
            }
        }
    }

    fn header(&self) -> *const clap_event_header {
        match self {
            Self::Note(event) => &raw const event.header,
            Self::Value(event) => &raw const event.header,
            Self::Modulation(event) => &raw const event.header,
            Self::Transport(event) => &raw const event.header,
        }
    }
}

unsafe extern "C" fn size(list: *const clap_input_events) -> u32 {
    // SAFETY: made in `read`.
    unsafe { (*(*list).ctx.cast::<Vec<Event>>()).len() as u32 }
}

unsafe extern "C" fn get(list: *const clap_input_events, index: u32) -> *const clap_event_header {
    // SAFETY: made in `read`.
    unsafe { (&(*(*list).ctx.cast::<Vec<Event>>()))[index as usize].header() }
}

/// An event as it is shown: when, what, and whether it is the host's own.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Seen {
    time: u32,
    what: Option<What>,
    is_own: bool,
}

/// What the framework takes in, slice by slice.
fn read(
    listed: &[(u32, What)],
    frames: u32,
    room: u32,
    modulations: &Modulations,
) -> Vec<Vec<Seen>> {
    let mut events: Vec<Event> = listed
        .iter()
        .map(|(time, what)| Event::new(*time, *what))
        .collect();
    let own: Vec<_> = events.iter().map(Event::header).collect();
    let host = clap_input_events {
        ctx: (&raw mut events).cast(),
        size: Some(size),
        get: Some(get),
    };
    // SAFETY: a list, valid to the end of this function.
    let order = unsafe { Order::new(&host, frames, room, modulations) };
    let list = order.list();
    let ask = |index| unsafe { Order::get(&raw const list, index) };
    let mut slices = vec![Vec::new()];
    let (mut index, mut slice_start) = (0, 0);
    // SAFETY: as above.
    let count = unsafe { Order::size(&raw const list) };
    while index < count {
        let event = ask(index);
        // SAFETY: an event, valid until the next is asked for.
        let header = unsafe { &*event };
        // Or the framework would count on from behind the slice.
        assert!(header.time >= slice_start);
        let cuts = matches!(
            kind(header),
            CLAP_EVENT_PARAM_VALUE | CLAP_EVENT_PARAM_MOD | CLAP_EVENT_TRANSPORT
        );
        if header.time > slice_start && cuts {
            // It is read again in the slice that begins here.
            slice_start = header.time;
            slices.push(Vec::new());
            continue;
        }
        let seen = Seen {
            time: header.time,
            what: what(header),
            is_own: own.contains(&event),
        };
        if seen.what.is_some() {
            slices.last_mut().unwrap().push(seen);
        }
        index += 1;
    }
    slices
}

fn what(header: &clap_event_header) -> Option<What> {
    let event = std::ptr::from_ref(header);
    // SAFETY: its kind says what it is.
    unsafe {
        match header.type_ {
            CLAP_EVENT_NOTE_ON => Some(What::Note((*event.cast::<clap_event_note>()).note_id)),
            CLAP_EVENT_PARAM_VALUE => {
                let event = &*event.cast::<clap_event_param_value>();
                let is_cut = event.param_id == CLAP_INVALID_ID;
                (!is_cut).then_some(What::Value(event.param_id, event.value))
            }
            CLAP_EVENT_PARAM_MOD => {
                let event = &*event.cast::<clap_event_param_mod>();
                Some(What::Modulation(event.param_id, event.amount))
            }
            _ => Some(What::Transport),
        }
    }
}

fn whole(slices: &[Vec<Seen>]) -> Vec<Seen> {
    slices.concat()
}

fn unmodulated() -> Modulations {
    Modulations::of(PARAMETERS.to_vec())
}

fn anything() -> impl Strategy<Value = What> {
    let parameter = prop::sample::select(PARAMETERS.to_vec());
    prop_oneof![
        6 => any::<i32>().prop_map(What::Note),
        2 => (parameter.clone(), -2.0..9.0).prop_map(|(number, value)| What::Value(number, value)),
        1 => (parameter, prop::sample::select(vec![-1.0, 0.0, 0.5]))
            .prop_map(|(number, amount)| What::Modulation(number, amount)),
        1 => Just(What::Transport),
    ]
}

fn any_time() -> impl Strategy<Value = u32> {
    prop_oneof![6 => 0..70_u32, 1 => any::<u32>()]
}

proptest! {
    #[test]
    fn whatever_is_listed_times_go_forward_within_the_block_and_no_slice_is_too_full(
        listed in prop::collection::vec((any_time(), anything()), 0..60),
        frames in 0..66_u32,
        room in 1..8_u32,
    ) {
        let slices = read(&listed, frames, room, &unmodulated());
        let seen = whole(&slices);
        prop_assert!(seen.is_sorted_by_key(|seen| seen.time), "{seen:?}");
        let last = frames.saturating_sub(1);
        prop_assert!(seen.iter().all(|seen| seen.time <= last));
        for slice in &slices {
            let is_note = |seen: &&Seen| matches!(seen.what, Some(What::Note(_)));
            prop_assert!(slice.iter().filter(is_note).count() <= room as usize);
        }
    }

    #[test]
    fn nothing_is_left_out_but_transports_of_another_time_and_what_the_last_sample_cannot_hold(
        listed in prop::collection::vec((any_time(), anything()), 0..60),
        room in 1..8_u32,
    ) {
        let seen = whole(&read(&listed, 128, room, &unmodulated()));
        let kept = |what: &What| matches!(what, What::Note(_));
        let notes: Vec<What> = listed.iter().map(|(_, what)| *what).filter(kept).collect();
        let shown: Vec<What> = seen.iter().filter_map(|seen| seen.what).filter(kept).collect();
        if shown != notes {
            let at_the_end = seen.iter().filter(|seen| {
                seen.time == 127 && matches!(seen.what, Some(What::Note(_)))
            });
            prop_assert!(at_the_end.count() >= room as usize);
            prop_assert!(notes.starts_with(&shown));
        }
        let values = |what: &What| matches!(what, What::Value(..));
        let set: Vec<What> = listed.iter().map(|(_, what)| *what).filter(values).collect();
        let shown: Vec<What> = seen.iter().filter_map(|seen| seen.what).filter(values).collect();
        prop_assert_eq!(set, shown);
    }

    #[test]
    fn what_a_well_behaved_host_lists_is_shown_as_it_is(
        times in prop::collection::vec(0..128_u32, 0..60),
        whats in prop::collection::vec(anything(), 60),
    ) {
        let mut times = times;
        times.sort_unstable();
        let is_bare = |what: &What| !matches!(what, What::Modulation(..));
        let listed: Vec<_> = times.into_iter().zip(whats.into_iter().filter(is_bare)).collect();
        let seen = whole(&read(&listed, 128, 1_000, &unmodulated()));
        prop_assert!(seen.iter().all(|seen| seen.is_own));
        let shown: Vec<_> = seen.iter().map(|seen| (seen.time, seen.what)).collect();
        let given: Vec<_> = listed.iter().map(|(time, what)| (*time, Some(*what))).collect();
        prop_assert_eq!(shown, given);
    }

    /// The framework keeps a value only if it moves what is heard, modulation and all.
    #[test]
    fn whatever_modulates_a_parameter_it_has_the_last_value_it_was_given(
        listed in prop::collection::vec((0..64_u32, anything()), 0..40),
    ) {
        let mut listed = listed;
        listed.sort_by_key(|(time, _)| *time);
        for number in PARAMETERS {
            let (mut heard, mut value, mut offset) = (0.0, 0.0, 0.0);
            let mut keep = |value: &mut f64, set: f64, offset: f64| {
                let moved = (set + offset).clamp(0.0, 1.0);
                if moved != heard {
                    (heard, *value) = (moved, set);
                }
            };
            for seen in whole(&read(&listed, 64, 100, &unmodulated())) {
                match seen.what {
                    Some(What::Value(which, set)) if which == number => {
                        keep(&mut value, set.clamp(0.0, 1.0), offset);
                    }
                    Some(What::Modulation(which, amount)) if which == number => {
                        offset = amount;
                        let set = value;
                        keep(&mut value, set, offset);
                    }
                    _ => (),
                }
            }
            let last = listed.iter().rev().find_map(|(_, what)| match what {
                What::Value(which, value) if *which == number => Some(value.clamp(0.0, 1.0)),
                _ => None,
            });
            prop_assert_eq!(value, last.unwrap_or(0.0));
        }
    }
}

#[test]
fn a_value_under_a_modulation_is_shown_with_the_modulation_taken_away() {
    let modulations = unmodulated();
    read(&[(0, What::Modulation(300, 8.0))], 64, 10, &modulations);
    let slices = read(
        &[(5, What::Value(300, 3.0)), (5, What::Value(7, 1.0))],
        64,
        10,
        &modulations,
    );
    let shown: Vec<_> = slices[1].iter().filter_map(|seen| seen.what).collect();
    let expected = [
        What::Modulation(300, 0.0),
        What::Value(300, 3.0),
        What::Modulation(300, 8.0),
        What::Value(7, 1.0),
    ];
    assert_eq!(shown, expected);
    assert!(slices[0].is_empty() && slices[1].iter().all(|seen| seen.time == 5));
    // Taken away for good, it is nobody's business any more.
    read(&[(0, What::Modulation(300, 0.0))], 64, 10, &modulations);
    assert_eq!(
        whole(&read(&[(5, What::Value(300, 2.0))], 64, 10, &modulations)).len(),
        1
    );
}

#[test]
fn more_than_a_slice_has_room_for_goes_on_a_sample_later_each_time() {
    let listed: Vec<_> = (0..10).map(|number| (20, What::Note(number))).collect();
    let seen = whole(&read(&listed, 64, 3, &unmodulated()));
    let times: Vec<u32> = seen.iter().map(|seen| seen.time).collect();
    assert_eq!(times, [20, 20, 20, 20, 20, 20, 21, 21, 21, 22]);
}
