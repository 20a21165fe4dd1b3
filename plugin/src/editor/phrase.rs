//! The phrase: what was captured, to be changed by hand, by key, by typing, or for another.
//!
//! A hand on its way only previews; when it lets go, that is one wish for one edit.

mod fields;
mod file;
mod grid;
mod keys;
mod scroll;

use crate::editor::look::Look;
use crate::editor::model::phrase::{self as model, Drag, Grid, Names, Rows};
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::{Key, Modifiers, Pos2, Rect, UiBuilder, Vec2, pos2};
use procession_core::note::Velocity;
use procession_core::phrase::{Edited, Phrase};

/// How long an edit may be on its way to the audio thread and back before it is given up, in
/// seconds. Until then the view shows what was wished for.
const PATIENCE: f64 = 1.5;

/// Room for the names of the rows.
const NAMES_WIDTH: f32 = 36.0;
/// Room for the numbers of the steps.
const RULER_HEIGHT: f32 = 18.0;
/// Room for the velocities, where there is any.
const LANE_HEIGHT: f32 = 46.0;
/// Room for the hint.
const HINT_HEIGHT: f32 = 20.0;

/// What the view itself remembers. None of it is saved.
#[derive(Default)]
pub struct PhraseState {
    /// The chosen notes, by their place in the phrase; ascending.
    chosen: Vec<usize>,
    hand: Hand,
    /// Edits that were wished for and not seen yet.
    on_their_way: Vec<Phrase>,
    /// When the last of them was.
    wished_at: f64,
    /// The phrase that was seen last.
    known: Option<Phrase>,
    rows: Option<Rows>,
    /// How far the grid is scrolled.
    scroll: Vec2,
    /// How hard the next new note is struck: as the last one touched.
    velocity: Option<Velocity>,
    fields: fields::Fields,
}

/// What the hand is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Hand {
    /// Nothing.
    #[default]
    Free,
    /// An edit.
    Edits(Drag),
    /// Drawing a box around notes; also those that were chosen before, if `more`.
    Chooses {
        /// One corner.
        from: Pos2,
        /// The other.
        to: Pos2,
        /// Whether what was chosen stays so.
        more: bool,
    },
    /// Nothing any more, though it still holds the button.
    GivenUp,
}

/// The phrase, and all that can be done to it.
pub fn show(ui: &mut egui::Ui, seen: &Seen, look: &Look, state: &mut PhraseState) -> Vec<Wish> {
    let now = ui.input(|input| input.time);
    state.follow(seen.phrase(), now);
    let holding = state.hand != Hand::Free;
    if holding && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Escape)) {
        state.hand = Hand::GivenUp;
    }
    if !state.on_their_way.is_empty() {
        let patience = std::time::Duration::from_secs_f64(PATIENCE);
        ui.ctx().request_repaint_after(patience);
    }
    let mut view = PhraseView {
        phrase: state.shown(seen).clone(),
        step: seen.settings().step(),
        names: Names::in_mode(seen.process.fold().source()),
        seen,
        look,
        state,
        wishes: Vec::new(),
        now,
    };
    view.hear_of_file();
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing = egui::vec2(6.0, 4.0);
        view.fields(ui);
        let outer = ui.available_rect_before_wrap();
        view.below_the_fields(ui, outer);
        ui.advance_cursor_after_rect(outer);
    });
    view.wishes
}

/// All that one frame works with.
struct PhraseView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut PhraseState,
    /// The phrase as shown: as it is, or as was wished for.
    phrase: Phrase,
    step: f64,
    names: Names,
    wishes: Vec<Wish>,
    now: f64,
}

/// Where the parts lie.
struct Places {
    ruler: Rect,
    names: Rect,
    grid: Rect,
    lane: Option<Rect>,
    hint: Rect,
}

impl Places {
    fn within(outer: Rect) -> Self {
        let left = outer.left() + NAMES_WIDTH;
        let (top, right) = (outer.top() + RULER_HEIGHT, outer.right());
        let hint_top = outer.bottom() - HINT_HEIGHT;
        let lane_height = if outer.height() >= 230.0 {
            LANE_HEIGHT
        } else {
            0.0
        };
        let bottom = (hint_top - lane_height).max(top + 1.0);
        let between = |x: f32, y: f32, right: f32, bottom: f32| {
            Rect::from_min_max(pos2(x, y), pos2(right, bottom))
        };
        Self {
            ruler: between(left, outer.top(), right, top),
            names: between(outer.left(), top, left, bottom),
            grid: between(left, top, right, bottom),
            lane: (lane_height > 0.0).then(|| between(left, bottom + 4.0, right, hint_top)),
            hint: between(outer.left(), hint_top, right, outer.bottom()),
        }
    }
}

impl PhraseView<'_> {
    fn below_the_fields(&mut self, ui: &mut egui::Ui, outer: Rect) {
        let places = Places::within(outer);
        let grid = self.laid_out(places.grid.size());
        // The preview, which is the phrase itself if the hand does nothing.
        let drawn = self.drawn(&grid);
        let mut child = ui.new_child(UiBuilder::new().max_rect(places.grid));
        child.shrink_clip_rect(places.grid);
        let told = self.grid(&child, places.grid, &grid, &drawn);
        self.names_of_rows(ui, &places, &grid);
        self.ruler(ui, &places, &grid, &drawn);
        if let Some(lane) = places.lane {
            self.lane(ui, lane, &grid, &drawn);
        }
        self.end_of_phrase(ui, &places, &grid, &drawn);
        self.scroll_bars(ui, places.grid, &grid);
        if let Some((index, note)) = told {
            self.tag(ui, places.grid, &drawn, index, note);
        }
        self.hint(ui, places.hint, &drawn);
    }

    /// The scale, and enough rows; a phrase that came from elsewhere is scrolled to.
    fn laid_out(&mut self, view: Vec2) -> Grid {
        let row_height = Grid::row_height(view.y);
        let fill = (view.y / row_height).ceil().clamp(1.0, 128.0) as u8;
        let before = self.state.rows;
        let fresh = Rows::around(&self.phrase).at_least(fill);
        let rows = before.map_or(fresh, |rows| rows.with(&self.phrase).at_least(fill));
        self.state.rows = Some(rows);
        let grid = Grid::new(&self.phrase, self.step, rows, view);
        match before {
            None => {
                let needed = Rows::around(&self.phrase);
                let top = grid.row(needed.highest).min;
                let middle = (top + grid.row(needed.lowest).max) / 2.0;
                let y = (middle - view.y / 2.0).max(0.0);
                self.state.scroll = Vec2::new(0.0, y);
            }
            Some(before) if before.highest < rows.highest => {
                // New rows above must not push what is seen down.
                let new = f32::from(rows.highest - before.highest) * row_height;
                self.state.scroll.y += new;
            }
            Some(_) => (),
        }
        grid
    }

    fn drawn(&self, grid: &Grid) -> Edited {
        match &self.state.hand {
            Hand::Edits(drag) => model::dragged(&self.phrase, &self.state.chosen, grid, drag),
            _ => Edited {
                phrase: self.phrase.clone(),
                chosen: self.state.chosen.clone(),
            },
        }
    }

    /// Wishes for an edit, if it is one.
    fn wish(&mut self, edited: Edited) {
        self.wish_as(edited, Wish::Edit);
    }

    fn wish_as(&mut self, edited: Edited, wish: fn(Box<Phrase>) -> Wish) {
        if edited.phrase != self.phrase {
            self.wishes.push(wish(Box::new(edited.phrase.clone())));
        }
        self.awaited(edited);
    }

    /// What was wished for is shown as if it were there.
    fn awaited(&mut self, edited: Edited) {
        if edited.phrase != self.phrase {
            self.state.on_their_way.push(edited.phrase.clone());
            self.state.wished_at = self.now;
            self.phrase = edited.phrase;
            self.state.fields.moved_on();
        }
        self.state.chosen = edited.chosen;
    }

    /// Wishes for another phrase altogether, of which no note is chosen.
    fn replace(&mut self, phrase: Phrase) {
        self.state.rows = None;
        self.wish(Edited {
            phrase,
            chosen: Vec::new(),
        });
    }

    /// Wishes for a phrase out of a file, of which no note is chosen.
    fn load_phrase(&mut self, phrase: Phrase) {
        self.state.rows = None;
        let edited = Edited {
            phrase,
            chosen: Vec::new(),
        };
        self.wish_as(edited, Wish::Load);
    }

    /// The chosen notes, or all of them if none is.
    fn at_hand(&self) -> Vec<usize> {
        if self.state.chosen.is_empty() {
            (0..self.phrase.notes().len()).collect()
        } else {
            self.state.chosen.clone()
        }
    }

    /// Remembers how hard the last note touched is struck.
    fn touched(&mut self, index: usize) {
        self.state.velocity = self.phrase.notes().get(index).map(|note| note.velocity);
    }
}

impl PhraseState {
    /// Whether a file is being read on a thread of its own.
    pub fn is_reading(&self) -> bool {
        self.fields.file.is_reading()
    }

    /// The phrase to show: the one wished for last, or the one there is.
    fn shown<'a>(&'a self, seen: &'a Seen) -> &'a Phrase {
        self.on_their_way.last().unwrap_or_else(|| seen.phrase())
    }

    /// Notices whether what was wished for has come, or something else.
    fn follow(&mut self, real: &Phrase, now: f64) {
        let same = |a: &Phrase, b: &Phrase| a == b || a.on_ticks() == b.on_ticks();
        if self.known.as_ref() == Some(real) {
            if now > self.wished_at + PATIENCE && !self.on_their_way.is_empty() {
                self.on_their_way.clear();
                self.let_go();
            }
            return;
        }
        let arrived = self.on_their_way.iter().position(|wish| same(wish, real));
        match arrived {
            Some(index) => drop(self.on_their_way.drain(..=index)),
            None => {
                // Taken, loaded, or undone. What is out of sight is brought into it.
                self.on_their_way.clear();
                self.let_go();
                if self.known.is_some() {
                    self.fields.moved_on();
                }
                let in_sight = self.rows.is_some_and(|rows| rows.with(real) == rows);
                if !in_sight {
                    self.rows = None;
                }
            }
        }
        self.known = Some(real.clone());
    }

    fn let_go(&mut self) {
        self.chosen.clear();
        if self.hand != Hand::Free {
            self.hand = Hand::GivenUp;
        }
    }
}
