//! What hand and keyboard do, in the order in which they do it.
//!
//! egui takes all that has happened since the last frame at once, and a press for one on what lies
//! under the hand by now. Before a window that is slow to draw is drawn again, the hand has moved
//! on: the corner of the window was missed, another value was dragged. Or the keyboard was already
//! typing into what was clicked, before that had it. So a frame goes no further than until the
//! hand leaves where it pressed or let go, or turns to the keyboard. The rest is for the next one.

use egui::{Context, Event, Plugin, Pos2, RawInput};

/// A hand that moves no farther than this rests, in points; for egui, too, such a press is a click.
const STILL: f32 = 6.0;

/// Gives egui what happens frame by frame.
#[derive(Debug, Default)]
pub struct InOrder {
    /// For the next frames.
    rest: Vec<Event>,
    /// Whether the hand presses something.
    holds: bool,
}

impl Plugin for InOrder {
    fn debug_name(&self) -> &'static str {
        "in order"
    }

    fn input_hook(&mut self, ctx: &Context, input: &mut RawInput) {
        let mut events = std::mem::take(&mut self.rest);
        events.append(&mut input.events);
        self.rest = events.split_off(self.frame(&events));
        input.events = events;
        if !self.rest.is_empty() {
            ctx.request_repaint();
        }
    }
}

impl InOrder {
    /// How many of the events are for this frame.
    fn frame(&mut self, events: &[Event]) -> usize {
        // Where the hand pressed or let go, and whether it has dragged something.
        let (mut hand, mut drags): (Option<Pos2>, bool) = (None, false);
        for (place, event) in events.iter().enumerate() {
            let leaves = |to: Pos2| hand.is_some_and(|at| at.distance(to) > STILL);
            let is_for_the_next = match event {
                Event::PointerMoved(to) => leaves(*to),
                Event::PointerButton { pos, .. } => drags || leaves(*pos),
                Event::PointerGone | Event::Key { .. } | Event::Text(_) => hand.is_some(),
                _ => false,
            };
            if is_for_the_next {
                return place;
            }
            match event {
                Event::PointerButton { pos, pressed, .. } => {
                    hand = Some(*pos);
                    self.holds = *pressed;
                }
                Event::PointerMoved(_) => drags |= self.holds && hand.is_none(),
                _ => (),
            }
        }
        events.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Id, Key, Modifiers, PointerButton, Rect, Sense, Vec2, ViewportCommand, pos2, vec2};
    use nice_plug_egui::resizable_window::ResizableWindow;

    const WINDOW: Vec2 = vec2(960.0, 640.0);
    const CORNER: Pos2 = pos2(954.0, 634.0);
    const FIELD: Pos2 = pos2(100.0, 100.0);

    /// What came of it.
    #[derive(Default)]
    struct Seen {
        /// Sizes that the window was to have.
        sizes: Vec<Vec2>,
        /// Whether what lies beneath all of it was dragged.
        dragged: bool,
        typed: String,
    }

    /// A slow window, in which all of that happens before it is drawn again.
    fn at_once(events: Vec<Event>) -> Seen {
        let ctx = Context::default();
        ctx.add_plugin(InOrder::default());
        let window = Rect::from_min_size(Pos2::ZERO, WINDOW);
        let mut seen = Seen::default();
        let mut text = String::new();
        let frames = [Vec::new(), Vec::new(), events].into_iter();
        for events in frames.chain(std::iter::repeat_n(Vec::new(), 6)) {
            let input = RawInput {
                screen_rect: Some(window),
                events,
                ..RawInput::default()
            };
            let mut output = ctx.run_ui(input, |ui| {
                ResizableWindow::new("window").show(ui, |ui| {
                    let below = ui.interact(window, Id::unique("below"), Sense::drag());
                    seen.dragged |= below.dragged();
                    let field = Rect::from_center_size(FIELD, vec2(80.0, 20.0));
                    ui.put(field, egui::TextEdit::singleline(&mut text));
                });
            });
            output.textures_delta.clear();
            let commands = output.viewport_output.into_values();
            for command in commands.flat_map(|viewport| viewport.commands) {
                if let ViewportCommand::InnerSize(size) = command {
                    seen.sizes.push(size);
                }
            }
        }
        seen.typed = text;
        seen
    }

    fn hand(pressed: bool, pos: Pos2) -> Event {
        Event::PointerButton {
            pos,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        }
    }

    #[test]
    fn a_hand_that_is_off_the_corner_before_the_window_is_drawn_drags_it_all_the_same() {
        let out = pos2(904.0, 604.0);
        let moved = Event::PointerMoved;
        let held = vec![moved(CORNER), hand(true, CORNER), moved(out)];
        let let_go = [held.clone(), vec![hand(false, out), moved(FIELD)]].concat();
        for events in [held, let_go] {
            let seen = at_once(events);
            assert_eq!(seen.sizes.last(), Some(&vec2(910.0, 610.0)));
            assert!(!seen.dragged, "nor anything else");
        }
    }

    #[test]
    fn what_is_typed_after_a_click_goes_into_what_was_clicked() {
        let events = vec![
            Event::Text("1".to_owned()),
            Event::PointerMoved(FIELD),
            hand(true, FIELD),
            hand(false, FIELD),
            Event::Text("2".to_owned()),
            Event::PointerMoved(CORNER),
            Event::Text("3".to_owned()),
        ];
        assert_eq!(at_once(events).typed, "23");
    }

    #[test]
    fn nothing_is_lost_and_nothing_overtaken() {
        let [one, other] = [FIELD, CORNER];
        let key = |pressed| Event::Key {
            key: Key::A,
            physical_key: None,
            pressed,
            repeat: false,
            modifiers: Modifiers::NONE,
        };
        let moved = Event::PointerMoved;
        let all = vec![
            moved(one),
            hand(true, one),
            moved(other),
            hand(false, other),
            key(true),
            key(false),
            hand(true, one),
            Event::PointerGone,
        ];
        let mut order = InOrder::default();
        let ctx = Context::default();
        let frames: Vec<Vec<Event>> = [all.clone()]
            .into_iter()
            .chain(std::iter::repeat_n(Vec::new(), 7))
            .map(|events| {
                let mut input = RawInput {
                    events,
                    ..RawInput::default()
                };
                order.input_hook(&ctx, &mut input);
                input.events
            })
            .collect();
        assert_eq!(frames.concat(), all);
        let lengths: Vec<usize> = frames.iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 1, 1, 3, 1, 0, 0, 0]);
    }
}
