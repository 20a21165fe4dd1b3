//! Sketches put aside and called up, and starting points, which come as sketches do.

use super::{Granter, Host, Instance, Name, Turned};
use crate::editor::seen::Seen;
use crate::editor::wish::SketchWish;
use crate::params::Parameters;
use crate::state::{Comes, Kept, Sketch, is_kept};
use procession_core::starting_points::StartingPoint;
use std::sync::Arc;

impl Granter {
    pub(super) fn grant_of_sketches(&mut self, wish: SketchWish, seen: &Seen, of: Instance<'_>) {
        let parameters = of.parameters;
        match wish {
            SketchWish::Store(place) => {
                let kept = parameters.kept.current();
                let name = kept.sketches.get(place).map(|sketch| sketch.name.clone());
                let sketch = Sketch::of(&kept, parameters, name.unwrap_or_default());
                let what = Name::of_sketch("storing", place, None);
                self.put(parameters, what, place, Some(Arc::new(sketch)));
                self.say(&format!("Stored as sketch {}.", place + 1));
            }
            SketchWish::Name(place, name) => {
                let before = parameters.kept.current();
                if let Some(sketch) = before.sketches.get(place) {
                    let named = Sketch::clone(sketch).named(&name);
                    let what = Name::of_sketch("naming", place, Some(named.name.clone()));
                    self.put(parameters, what, place, Some(Arc::new(named)));
                }
            }
            SketchWish::Duplicate { from, to } => {
                let sketch = parameters.kept.current().sketches.get(from).cloned();
                let what = Name::of_sketch("duplicating", from, Some(format!("to {}", to + 1)));
                self.put(parameters, what, to, sketch);
            }
            SketchWish::Empty(place) => {
                let what = Name::of_sketch("emptying", place, None);
                self.put(parameters, what, place, None);
            }
            SketchWish::CallUp(place) => {
                self.comparing.alone(of.bell);
                let comes = parameters.kept.current().comes;
                let rolls = seen.snapshot.playing || seen.snapshot.running;
                if comes == Comes::Now || !rolls {
                    self.call_up(place, parameters, Some(of.host));
                } else {
                    of.bell.ask_for(place);
                    self.say(&format!("Sketch {} comes {}.", place + 1, comes.name()));
                }
            }
            SketchWish::Comes(comes) => {
                // How one works, and no work: not a step.
                parameters.kept.edit(|kept| kept.comes = comes);
            }
            SketchWish::Pair(a, b) => self.comparing.pair(a, b, of.bell),
            SketchWish::Flip => self.flip(seen, of),
            SketchWish::Alone => self.comparing.alone(of.bell),
        }
    }

    /// Of the two that are compared the other comes, at once: one that came with the next bar would
    /// have to be remembered until then.
    fn flip(&mut self, seen: &Seen, of: Instance<'_>) {
        let sketches = of.parameters.kept.current().sketches;
        let (side, place) = self.comparing.other();
        let (a, b) = self.comparing.seen().pair;
        let empty = [("A", a), ("B", b)]
            .into_iter()
            .find(|(_, place)| sketches.get(*place).is_none());
        if let Some((side, place)) = empty {
            // One that is alone is not compared with anything.
            self.comparing.alone(of.bell);
            let place = place + 1;
            self.say(&format!(
                "Sketch {place}, which is to be {side}, is empty: store one there, or choose another."
            ));
            return;
        }
        let tempo = crate::editor::model::plan::tempo(seen);
        self.comparing.hear(side, &sketches, tempo, of.bell);
        self.call_up(place, of.parameters, Some(of.host));
    }

    fn put(
        &mut self,
        parameters: &Parameters,
        name: Name,
        place: usize,
        sketch: Option<Arc<Sketch>>,
    ) {
        let put = |kept: &mut Kept| kept.sketches.put(place, sketch);
        self.take_step(parameters, |_| name, put);
    }

    /// The sketch of a place takes the place of what is there; one step. Parameters go to the host
    /// as gestures; if there is none to be told, as soon as there is.
    pub fn call_up(&mut self, place: usize, parameters: &Parameters, host: Option<Host<'_>>) {
        let Some(sketch) = parameters.kept.current().sketches.get(place).cloned() else {
            self.say(&format!(
                "Sketch {} is empty: store one there first.",
                place + 1
            ));
            return;
        };
        let to = (!sketch.name.is_empty()).then(|| sketch.name.clone());
        let name = Name::of_sketch("calling up", place, to);
        self.put_in_place(&sketch, name, parameters, host);
    }

    /// A starting point takes the place of what is there, as a sketch would.
    pub(super) fn start_from(&mut self, start: &StartingPoint, of: Instance<'_>) {
        self.comparing.alone(of.bell);
        let name = Name::of_start(start.name);
        let sketch = Sketch::of_start(start);
        self.put_in_place(&sketch, name, of.parameters, Some(of.host));
        let hold = match of.parameters.hold() {
            true => "",
            false => " Press Hold to hear it.",
        };
        self.say(&format!("{} is there.{hold}", start.name));
    }

    /// One step: what is kept of a sketch, and the parameters that it turns.
    fn put_in_place(
        &mut self,
        sketch: &Sketch,
        name: Name,
        parameters: &Parameters,
        host: Option<Host<'_>>,
    ) {
        let before = parameters.kept.current();
        let turned = turned(&sketch.stood(), parameters);
        parameters.kept.edit(|kept| sketch.take_place(kept));
        let (after, loads) = (parameters.kept.current(), parameters.kept.loads());
        self.owed = turned
            .iter()
            .map(|turned| (turned.id, turned.after))
            .collect();
        if let Some(host) = host {
            self.pay(parameters, host);
        }
        let kept = (&before, &after);
        self.history
            .record_turning(name, kept, turned, loads, self.hand);
        self.wrote |= !after.taken.phrase.is_empty();
        self.granted = true;
    }

    /// Tells the host what it is owed.
    pub fn pay(&mut self, parameters: &Parameters, host: Host<'_>) {
        use super::Gesture;
        for (id, value) in std::mem::take(&mut self.owed) {
            let nearest = parameters
                .of_id(id)
                .map(|(_, parameter)| parameter.nearest(value));
            if let Some(value) = nearest {
                // A hand that lies on it lets go first: a gesture within a gesture is none.
                self.let_go(id, host);
                host(Gesture::Begin(id));
                host(Gesture::Set(id, value));
                host(Gesture::End(id));
            }
        }
    }
}

/// The parameters that have to be turned for things to stand as in a sketch.
fn turned(stood: &Parameters, now: &Parameters) -> Vec<Turned> {
    let mut is: Vec<f32> = Vec::new();
    now.each(|_, parameter| is.push(parameter.normalized()));
    let mut is = is.into_iter();
    let mut turned = Vec::new();
    stood.each(|declaration, parameter| {
        let (before, after) = (is.next().unwrap_or_default(), parameter.normalized());
        if before != after && is_kept(&declaration.id) {
            let id = declaration.id.as_str();
            turned.push(Turned { id, before, after });
        }
    });
    turned
}
