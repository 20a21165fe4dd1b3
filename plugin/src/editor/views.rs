//! The views, each in its room, and the words that choose between them.

use crate::editor::alignments::{self, AlignmentsState};
use crate::editor::circle::{self, CircleState};
use crate::editor::files::{self, FilesState};
use crate::editor::keep::{self, KeepState};
use crate::editor::look::Look;
use crate::editor::model::layout::View;
use crate::editor::modulations::{self, ModulationsState};
use crate::editor::notes::{self, NotesState};
use crate::editor::phrase::{self, PhraseState};
use crate::editor::plan::{self, PlanState};
use crate::editor::practice::{self, PracticeState};
use crate::editor::route::{self, RouteState};
use crate::editor::seen::Seen;
use crate::editor::sonority::{self, SonorityState};
use crate::editor::speech::{self, SpeechState};
use crate::editor::wish::Wish;
use egui::{Align2, CornerRadius, FontId, Rect, Response, Role, Sense, Ui, WidgetInfo, pos2, vec2};

/// What the views remember between frames.
#[derive(Default)]
pub struct Views {
    circle: CircleState,
    /// Whether the circle was shown in this frame.
    circle_shown: bool,
    plan: PlanState,
    notes: NotesState,
    alignments: AlignmentsState,
    phrase: PhraseState,
    speech: SpeechState,
    sonority: SonorityState,
    route: RouteState,
    modulations: ModulationsState,
    practice: PracticeState,
    files: FilesState,
    keep: KeepState,
    /// Whether a view in which something moves fast was shown in the last frame, and in this one.
    lively: (bool, bool),
    /// The stage of the plan that was clicked: circle, notes and sonority show it, and playback
    /// goes on.
    stage: Option<usize>,
}

impl Views {
    /// Shows a view in all the room there is.
    pub fn show(&mut self, view: View, ui: &mut Ui, seen: &Seen, look: &Look) -> Vec<Wish> {
        // Another phrase or other settings may have fewer stages.
        self.stage = self.stage.filter(|stage| *stage < seen.form.stages.len());
        // In a small window the plan may be out of sight while others show its stage.
        if plan::lets_go(ui) {
            self.stage = None;
        }
        // A hand that goes round once a cycle, notes that glide, a playhead over the phrase. What
        // else moves goes the length of the piece, or counts seconds.
        self.lively.1 |= matches!(
            view,
            View::Circle | View::Notes | View::Phrase | View::Practice
        );
        match view {
            View::Circle => {
                self.circle_shown = true;
                circle::show(ui, seen, look, &mut self.circle, self.stage)
            }
            View::Plan => plan::show(ui, seen, look, &mut self.plan, &mut self.stage),
            View::Notes => notes::show(ui, seen, look, &mut self.notes, self.stage),
            View::Alignments => alignments::show(ui, seen, look, &mut self.alignments),
            View::Phrase => phrase::show(ui, seen, look, &mut self.phrase),
            View::Speech => speech::show(ui, seen, look, &mut self.speech),
            View::Sonority => sonority::show(ui, seen, look, &mut self.sonority, self.stage),
            View::Route => route::show(ui, seen, look, &mut self.route, &mut self.stage),
            View::Modulations => {
                modulations::show(ui, seen, look, &mut self.modulations, self.stage)
            }
            View::Practice => practice::show(ui, seen, look, &mut self.practice),
            View::Files => files::show(ui, seen, look, &mut self.files),
            View::Keep => keep::show(ui, seen, look, &mut self.keep),
            // The shell shows them, which has them.
            View::Parameters => Vec::new(),
        }
    }
}

impl Views {
    /// Whether a view was shown in which something moves fast while the process plays.
    pub fn are_lively(&self) -> bool {
        self.lively.0
    }

    /// The view of what is kept shows the starting points, and the keyboard goes there.
    pub fn show_starting_points(&mut self) {
        self.keep.show_starting_points();
    }

    /// The stage that was looked at is let go: the song has begun to roll.
    pub fn let_go_of_stage(&mut self) {
        self.stage = None;
    }

    /// All views of a frame have been shown: a view that has gone lets go of what it held.
    pub fn end_frame(&mut self) -> Option<Wish> {
        self.lively = (self.lively.1, false);
        let shown = std::mem::take(&mut self.circle_shown);
        if shown { None } else { self.circle.let_go() }
    }
}

/// Between two words of a row, in points.
const LEAST_PADDING: f32 = 5.0;

/// A row of words, one of them chosen; which one was clicked, if any.
pub fn choose(ui: &mut Ui, names: &[&str], chosen: usize, look: &Look) -> Option<usize> {
    let row = ui.allocate_space(vec2(ui.available_width(), 26.0)).1;
    let widths = |font: &FontId| -> Vec<f32> {
        let words = names.iter().map(|name| (*name).to_owned());
        let laid = words.map(|name| ui.painter().layout_no_wrap(name, font.clone(), look.ink));
        laid.map(|galley| galley.size().x).collect()
    };
    let least = LEAST_PADDING * names.len() as f32;
    let large = FontId::proportional(13.0);
    // Where there is not room for all, they are written smaller rather than cut.
    let share = (row.width() - least) / widths(&large).iter().sum::<f32>().max(1.0);
    let font = FontId::proportional((13.0 * share).clamp(9.0, 13.0));
    let widths = widths(&font);
    let spare = row.width() - widths.iter().sum::<f32>();
    let padding = (spare / names.len().max(1) as f32).clamp(LEAST_PADDING, 24.0);
    let mut left = row.min.x;
    let places = widths.into_iter().map(|width| {
        let right = left + width + padding;
        let place = Rect::from_min_max(pos2(left, row.min.y), pos2(right, row.max.y));
        left = right;
        place
    });
    let words: Vec<(&str, Response)> = names
        .iter()
        .zip(places)
        .map(|(name, place)| {
            let id = ui.scope_id().with(("choose", *name));
            (*name, ui.interact(place, id, Sense::click()))
        })
        .collect();
    let clicked = words.iter().position(|(_, response)| response.clicked());
    let chosen = clicked.unwrap_or(chosen);
    for (index, (name, response)) in words.iter().enumerate() {
        let is_chosen = index == chosen;
        response.widget_info(|| WidgetInfo::selected(Role::Tab, true, is_chosen, *name));
        let colour = if is_chosen || response.hovered() {
            look.ink
        } else {
            look.quiet
        };
        let place = response.rect;
        let middle = place.center();
        let painter = ui.painter();
        painter.text(middle, Align2::CENTER_CENTER, *name, font.clone(), colour);
        if is_chosen {
            let line = Rect::from_min_max(
                pos2(place.min.x + padding / 2.0, place.max.y - 3.0),
                pos2(place.max.x - padding / 2.0, place.max.y),
            );
            painter.rect_filled(line, CornerRadius::same(1), look.accent);
        }
    }
    clicked
}
