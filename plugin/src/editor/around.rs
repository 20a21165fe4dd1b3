//! What lies around the window on X11: the host's window that ours was put into. The framework
//! leaves three things out there, which are done here over a connection of our own (baseview 0.4.2).
//!
//! - A click gives our window the keyboard, and what we have no use for went no further. It is sent
//!   on to the nearest of the host's windows that listens to keys.
//! - A host may pass over the wish for another size, and leave us larger than its own window, or
//!   with a gap beside us. We go back to the size that it really has.
//! - A window that is dropped is stopped by force, and the framework warns that it does not answer.
//!   It is asked to close first, in the words in which a window manager would.

use egui::{Key, Modifiers};

#[cfg(target_os = "linux")]
pub use x11::{Around, ask_to_close};

#[cfg(not(target_os = "linux"))]
pub use elsewhere::{Around, ask_to_close};

#[cfg(target_os = "linux")]
mod x11 {
    use super::{Stroke, symbol};
    use egui::Modifiers;
    use x11rb::connection::Connection;
    use x11rb::protocol::Event;
    use x11rb::protocol::xproto::{
        ChangeWindowAttributesAux, ClientMessageEvent, ConfigureWindowAux, ConnectionExt,
        EventMask, KEY_PRESS_EVENT, KEY_RELEASE_EVENT, KeyButMask, KeyPressEvent,
    };
    use x11rb::rust_connection::RustConnection;

    /// The host's window, and ours in it.
    pub struct Around {
        server: RustConnection,
        root: u32,
        /// The host's.
        parent: u32,
        /// Ours.
        own: u32,
        /// Whether ours has filled the host's before: then it does so again.
        fills: bool,
    }

    /// Pixels.
    type Size = (u16, u16);

    /// A host that has not yet given its window a size is not followed, in pixels.
    const LEAST: u16 = 200;

    impl Around {
        /// None if the screen does not answer.
        pub fn of(parent: u32, own: u32) -> Option<Self> {
            let (server, screen) = x11rb::connect(None).ok()?;
            let root = server.setup().roots.get(screen)?.root;
            // To hear when the host gives its window another size.
            let ear = ChangeWindowAttributesAux::new().event_mask(EventMask::STRUCTURE_NOTIFY);
            let _ = server.change_window_attributes(parent, &ear);
            let _ = server.flush();
            Some(Self {
                server,
                root,
                parent,
                own,
                fills: false,
            })
        }

        /// Whether the host has given its window another size since this was last asked.
        pub fn has_changed(&self) -> bool {
            let mut changed = false;
            while let Ok(Some(event)) = self.server.poll_for_event() {
                changed |= matches!(event, Event::ConfigureNotify(_));
            }
            changed
        }

        /// Whether our window has found its size: that of the host's, or, if the host has had
        /// its time to make room, whatever lies within.
        pub fn is_settled(&mut self, host_had_its_time: bool) -> bool {
            let (Some(own), Some(parent)) = (self.size_of(self.own), self.size_of(self.parent))
            else {
                return true;
            };
            self.fills |= own == parent;
            if own != parent && host_had_its_time && parent.0 >= LEAST && parent.1 >= LEAST {
                self.fit(own, parent);
            }
            own == parent || host_had_its_time
        }

        /// Gives our window the size of the host's if it is larger, or if it had that size before.
        fn fit(&self, own: Size, parent: Size) {
            let fitting = if self.fills {
                parent
            } else {
                (own.0.min(parent.0), own.1.min(parent.1))
            };
            if fitting != own {
                let size = ConfigureWindowAux::new()
                    .width(u32::from(fitting.0))
                    .height(u32::from(fitting.1));
                let _ = self.server.configure_window(self.own, &size);
                let _ = self.server.flush();
            }
        }

        fn size_of(&self, window: u32) -> Option<Size> {
            let geometry = self.server.get_geometry(window).ok()?.reply().ok()?;
            Some((geometry.width, geometry.height))
        }

        /// Sends a key on to the host; those that have no letter, digit or space on them stay here.
        pub fn send_on(&self, (key, pressed, modifiers): Stroke) {
            if let Some(code) = symbol(key).and_then(|symbol| self.code_of(symbol)) {
                let to = self.listener();
                let event = KeyPressEvent {
                    response_type: if pressed {
                        KEY_PRESS_EVENT
                    } else {
                        KEY_RELEASE_EVENT
                    },
                    detail: code,
                    sequence: 0,
                    time: x11rb::CURRENT_TIME,
                    root: self.root,
                    event: to,
                    child: x11rb::NONE,
                    root_x: 0,
                    root_y: 0,
                    event_x: 0,
                    event_y: 0,
                    state: state(modifiers),
                    same_screen: true,
                };
                let mask = EventMask::KEY_PRESS | EventMask::KEY_RELEASE;
                let _ = self.server.send_event(true, to, mask, event);
                let _ = self.server.flush();
            }
        }

        /// The nearest of the host's windows that listens to keys; that around ours if none does.
        fn listener(&self) -> u32 {
            let listens = |window: u32| {
                let reply = self.server.get_window_attributes(window).ok()?.reply().ok();
                reply.map(|reply| reply.all_event_masks.contains(EventMask::KEY_PRESS))
            };
            let outer = |window: u32| {
                let tree = self.server.query_tree(window).ok()?.reply().ok()?;
                (tree.parent != tree.root && tree.parent != x11rb::NONE).then_some(tree.parent)
            };
            std::iter::successors(Some(self.parent), |window| outer(*window))
                .find(|window| listens(*window) == Some(true))
                .unwrap_or(self.parent)
        }

        fn code_of(&self, symbol: u32) -> Option<u8> {
            let setup = self.server.setup();
            let (first, last) = (setup.min_keycode, setup.max_keycode);
            let map = self.server.get_keyboard_mapping(first, last - first + 1);
            let map = map.ok()?.reply().ok()?;
            let per_key = usize::from(map.keysyms_per_keycode).max(1);
            let mut keys = map.keysyms.chunks(per_key);
            let place = keys.position(|symbols| symbols.first() == Some(&symbol))?;
            u8::try_from(usize::from(first) + place).ok()
        }
    }

    /// Asks a window of ours to close. Whether the screen took the message.
    pub fn ask_to_close(own: u32) -> bool {
        let ask = || -> Option<()> {
            let (server, _) = x11rb::connect(None).ok()?;
            let atom = |name: &[u8]| Some(server.intern_atom(false, name).ok()?.reply().ok()?.atom);
            let (protocols, close) = (atom(b"WM_PROTOCOLS")?, atom(b"WM_DELETE_WINDOW")?);
            let message = ClientMessageEvent::new(32, own, protocols, [close, 0, 0, 0, 0]);
            let sent = server.send_event(false, own, EventMask::NO_EVENT, message);
            sent.ok()?.check().ok()
        };
        ask().is_some()
    }

    fn state(modifiers: Modifiers) -> KeyButMask {
        let held = [
            (modifiers.shift, KeyButMask::SHIFT),
            (modifiers.ctrl, KeyButMask::CONTROL),
            (modifiers.alt, KeyButMask::MOD1),
        ];
        held.into_iter()
            .filter(|(held, _)| *held)
            .fold(KeyButMask::default(), |all, (_, mask)| all | mask)
    }
}

#[cfg(not(target_os = "linux"))]
mod elsewhere {
    use super::Stroke;

    /// Nothing is left to be done.
    pub enum Around {}

    impl Around {
        /// Not needed here.
        pub fn of(_: u32, _: u32) -> Option<Self> {
            None
        }

        /// Never.
        pub fn has_changed(&self) -> bool {
            match *self {}
        }

        /// Always.
        pub fn is_settled(&mut self, _: bool) -> bool {
            match *self {}
        }

        /// The framework does it.
        pub fn send_on(&self, _: Stroke) {
            match *self {}
        }
    }

    /// The framework does it.
    pub fn ask_to_close(_: u32) -> bool {
        false
    }
}

/// What is on the key, by the tables of the X protocol's appendix A: Latin letters and digits have
/// their own numbers.
fn symbol(key: Key) -> Option<u32> {
    let name = key.name();
    match (key, name.as_bytes()) {
        (Key::Space, _) => Some(u32::from(b' ')),
        (_, [letter]) if letter.is_ascii_alphanumeric() => {
            Some(u32::from(letter.to_ascii_lowercase()))
        }
        _ => None,
    }
}

/// The keys that nobody here has a use for.
#[derive(Debug, Default)]
pub struct UnusedKeys {
    /// Those that were pressed for the host: it hears of it, too, when they are let go.
    down: Vec<Key>,
}

/// A key, whether it is pressed or let go, and what is held besides.
pub type Stroke = (Key, bool, Modifiers);

impl UnusedKeys {
    /// Takes them out of the input, for the host: Space unless somebody types; while nothing here
    /// is chosen letters and digits too, but for undoing. What comes in one frame with text for
    /// what is chosen is meant for that: it may begin a text.
    pub fn take(&mut self, ctx: &egui::Context) -> Vec<Stroke> {
        let nothing_chosen = ctx.memory(|memory| memory.focused().is_none());
        let begins_text = |event: &egui::Event| match event {
            egui::Event::Text(text) => !nothing_chosen && text != " ",
            _ => false,
        };
        let types =
            ctx.text_edit_focused() || ctx.input(|input| input.events.iter().any(begins_text));
        let is_hosts = |key: Key, with: Modifiers| {
            let undoes = with.command && matches!(key, Key::Z | Key::Y);
            !types && (key == Key::Space || nothing_chosen && !undoes && symbol(key).is_some())
        };
        let mut strokes = Vec::new();
        ctx.input_mut(|input| {
            input.events.retain(|event| match event {
                egui::Event::Key {
                    key,
                    pressed,
                    modifiers,
                    ..
                } => {
                    let was_down = self.down.contains(key);
                    self.down.retain(|down| down != key);
                    let takes = if *pressed {
                        is_hosts(*key, *modifiers)
                    } else {
                        was_down
                    };
                    if takes {
                        strokes.push((*key, *pressed, *modifiers));
                    }
                    if takes && *pressed {
                        self.down.push(*key);
                    }
                    !takes
                }
                egui::Event::Text(text) => types || text != " ",
                _ => true,
            });
            for (key, ..) in &strokes {
                input.keys_down.remove(key);
            }
        });
        strokes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the X protocol's appendix A.
    #[test]
    fn keys_have_the_numbers_of_the_protocol() {
        assert_eq!(symbol(Key::Space), Some(0x20));
        assert_eq!(symbol(Key::A), Some(0x61));
        assert_eq!(symbol(Key::Z), Some(0x7A));
        assert_eq!(symbol(Key::Num0), Some(0x30));
        assert_eq!(symbol(Key::Num9), Some(0x39));
        for ours in [Key::Tab, Key::Enter, Key::Escape, Key::ArrowUp, Key::F1] {
            assert_eq!(symbol(ours), None, "{ours:?}");
        }
    }

    /// What a window sends on, in which a text can be typed.
    #[derive(Default)]
    struct Desk {
        ctx: egui::Context,
        unwanted: UnusedKeys,
        text: String,
    }

    impl Desk {
        /// A frame in which a key is pressed or let go, the text being chosen or not.
        fn strike(&mut self, types: bool, key: Key, pressed: bool) -> Vec<(Key, bool)> {
            let field = egui::Id::unique("text");
            self.ctx.memory_mut(|memory| {
                if types {
                    memory.request_focus(field);
                } else {
                    memory.surrender_focus(field);
                }
            });
            let event = egui::Event::Key {
                key,
                physical_key: None,
                pressed,
                repeat: false,
                modifiers: Modifiers::NONE,
            };
            let mut sent = Vec::new();
            for events in [Vec::new(), vec![event]] {
                let input = egui::RawInput {
                    events,
                    ..egui::RawInput::default()
                };
                let mut output = self.ctx.run_ui(input, |ui| {
                    sent.extend(self.unwanted.take(ui.ctx()));
                    ui.add(egui::TextEdit::singleline(&mut self.text).id(field));
                });
                output.textures_delta.clear();
            }
            sent.into_iter().map(|(key, down, _)| (key, down)).collect()
        }
    }

    #[test]
    fn a_key_is_let_go_where_it_was_pressed() {
        let mut desk = Desk::default();
        let space = Key::Space;
        assert_eq!(desk.strike(false, space, true), [(space, true)]);
        assert_eq!(desk.strike(true, space, false), [(space, false)]);
        assert_eq!(desk.strike(true, space, true), []);
        assert_eq!(desk.strike(false, space, false), []);
    }

    #[test]
    fn letters_are_the_hosts_while_nobody_types_and_other_keys_never() {
        let mut desk = Desk::default();
        for key in [Key::A, Key::Num5, Key::Space] {
            assert_eq!(desk.strike(false, key, true), [(key, true)]);
            assert_eq!(desk.strike(false, key, false), [(key, false)]);
            assert_eq!(desk.strike(true, key, true), []);
            assert_eq!(desk.strike(true, key, false), []);
        }
        for key in [Key::Tab, Key::Escape, Key::ArrowUp] {
            assert_eq!(desk.strike(false, key, true), []);
        }
    }
}
