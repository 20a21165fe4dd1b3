//! Where everything stands in a window of a given size.

use egui::{Rect, Vec2, pos2, vec2};

/// The smallest window the host is asked for, in points at a zoom of 1.
pub const SMALLEST: Vec2 = vec2(760.0, 480.0);

/// Smaller than this, in points, nothing can be used any more.
pub const LEAST: Vec2 = vec2(480.0, 320.0);

/// What a window of so many `points` becomes when it is zoomed on a screen that has `room` for it,
/// in points at a zoom of 1: the zoom, and its points then. It never grows beyond the room; where
/// too little of it would be left, it is zoomed less, in steps of a quarter.
pub fn fitting(points: Vec2, zoom: f32, room: Vec2) -> (f32, Vec2) {
    let most = (room / LEAST).min_elem();
    let zoom = if zoom > most {
        ((most * 4.0).floor() / 4.0).clamp(0.75, zoom.max(0.75))
    } else {
        zoom
    };
    (zoom, points.min((room / zoom).floor()))
}

/// Between two rooms, in points.
const GAP: f32 = 8.0;
/// Of a row of words that choose a view.
const CHOOSER: f32 = 30.0;
/// A word of them takes so much on the average; where there is less, they stand in two rows.
const WORD: f32 = 46.0;

/// A view that the composer may look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// The phrase on a circle of its steps, a ring a voice.
    Circle,
    /// The whole form along time.
    Plan,
    /// The notes, a lane a voice.
    Notes,
    /// The distinct alignments and their facts.
    Alignments,
    /// The phrase, to be edited.
    Phrase,
    /// What is said in a recording, to become the phrase.
    Speech,
    /// The pitch classes that sound, source and target.
    Sonority,
    /// The stages, to be written.
    Route,
    /// The mode changes of the plan, to be written.
    Modulations,
    /// One part, to be played against the others.
    Practice,
    /// Takes and sketches.
    Keep,
    /// What can be taken away as files.
    Files,
    /// The parameters, where there is no room for them beside the rest.
    Parameters,
}

impl View {
    /// As the chooser has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Circle => "Circle",
            Self::Plan => "Plan",
            Self::Notes => "Notes",
            Self::Alignments => "Alignments",
            Self::Phrase => "Phrase",
            Self::Speech => "Speech",
            Self::Sonority => "Sonority",
            Self::Route => "Route",
            Self::Modulations => "Mode changes",
            Self::Practice => "Practice",
            Self::Keep => "Keep",
            Self::Files => "Files",
            Self::Parameters => "Settings",
        }
    }
}

/// The rooms of a window.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Hold and what concerns the whole.
    pub header: Rect,
    /// The plan, if it has a room of its own.
    pub plan: Option<Rect>,
    /// The circle, if it has a room of its own.
    pub circle: Option<Rect>,
    /// The words that choose what stands in `chosen`.
    pub chooser: Rect,
    /// The view that was chosen.
    pub chosen: Rect,
    /// The views there are to choose from.
    pub choice: &'static [View],
    /// The parameters, if they have a room of their own.
    pub parameters: Option<Rect>,
    /// What the plug-in is doing.
    pub status: Rect,
}

impl Layout {
    /// The rooms in `window`, with a status line of that height.
    pub fn new(window: Rect, status_height: f32) -> Self {
        let header_height = if window.height() < 560.0 { 48.0 } else { 56.0 };
        let (header, rest) = split_top(window, header_height);
        let (rest, status) = split_top(rest, rest.height() - status_height);
        let body = Rect::from_min_max(
            rest.min + vec2(GAP, GAP),
            (rest.max - vec2(GAP, GAP)).max(rest.min + vec2(GAP, GAP)),
        );
        let (main, parameters) = beside_parameters(body);
        let roomy = main.width() >= 640.0 && main.height() >= 460.0;
        let (plan, circle, lower) = if roomy {
            let plan_height = (main.height() * 0.36).clamp(190.0, 300.0);
            let (plan, below) = split_top(main, plan_height);
            let below = below.with_min_y(below.min.y + GAP);
            let side = below.height().min(below.width() * 0.48);
            let (circle, lower) = split_left(below, side);
            (
                Some(plan),
                Some(circle),
                lower.with_min_x(lower.min.x + GAP),
            )
        } else {
            (None, None, main)
        };
        let choice = choice(roomy, parameters.is_some());
        let in_two = lower.width() < WORD * choice.len() as f32;
        let rows = if in_two { 2.0 } else { 1.0 };
        let (chooser, chosen) = split_top(lower, rows * CHOOSER);
        Self {
            header,
            plan,
            circle,
            chooser,
            chosen: chosen.with_min_y((chosen.min.y + 4.0).min(chosen.max.y)),
            choice,
            parameters,
            status,
        }
    }

    /// How many of the words that choose a view stand in the first row.
    pub fn in_first_row(&self) -> usize {
        if self.chooser.height() > CHOOSER {
            self.choice.len().div_ceil(2)
        } else {
            self.choice.len()
        }
    }

    /// The same while there is no phrase: the circle's room goes to the view that was chosen, in
    /// which one can be written.
    pub fn with_nothing_on_the_circle(mut self) -> Self {
        if let Some(circle) = self.circle.take() {
            self.chooser.min.x = circle.min.x;
            self.chosen.min.x = circle.min.x;
        }
        self
    }

    /// What stands in `chosen` if `wanted` was chosen before: that, or where it cannot be, the
    /// first there is.
    pub fn chosen_view(&self, wanted: View) -> View {
        let first = self.choice.first().copied().unwrap_or(wanted);
        if self.choice.contains(&wanted) {
            wanted
        } else {
            first
        }
    }
}

fn choice(roomy: bool, parameters_apart: bool) -> &'static [View] {
    use View::{
        Alignments, Circle, Files, Keep, Modulations, Notes, Parameters, Phrase, Plan, Practice,
        Route, Sonority, Speech,
    };
    match (roomy, parameters_apart) {
        (true, _) => &[
            Notes,
            Alignments,
            Phrase,
            Speech,
            Route,
            Modulations,
            Sonority,
            Practice,
            Keep,
            Files,
        ],
        (false, true) => &[
            Circle,
            Plan,
            Notes,
            Alignments,
            Phrase,
            Speech,
            Route,
            Modulations,
            Sonority,
            Practice,
            Keep,
            Files,
        ],
        (false, false) => &[
            Circle,
            Plan,
            Notes,
            Alignments,
            Phrase,
            Speech,
            Route,
            Modulations,
            Sonority,
            Practice,
            Keep,
            Files,
            Parameters,
        ],
    }
}

/// The main room and, if both are then wide enough, one for the parameters.
fn beside_parameters(body: Rect) -> (Rect, Option<Rect>) {
    let width = if body.width() < 1000.0 { 250.0 } else { 276.0 };
    if body.width() < 600.0 {
        return (body, None);
    }
    let (main, parameters) = split_left(body, body.width() - width - GAP);
    (main, Some(parameters.with_min_x(parameters.min.x + GAP)))
}

fn split_top(room: Rect, height: f32) -> (Rect, Rect) {
    let y = room.min.y + height.clamp(0.0, room.height());
    (
        Rect::from_min_max(room.min, pos2(room.max.x, y)),
        Rect::from_min_max(pos2(room.min.x, y), room.max),
    )
}

fn split_left(room: Rect, width: f32) -> (Rect, Rect) {
    let x = room.min.x + width.clamp(0.0, room.width());
    (
        Rect::from_min_max(room.min, pos2(x, room.max.y)),
        Rect::from_min_max(pos2(x, room.min.y), room.max),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::Pos2;

    fn at(width: f32, height: f32) -> Layout {
        Layout::new(Rect::from_min_size(Pos2::ZERO, vec2(width, height)), 30.0)
    }

    fn rooms(layout: &Layout) -> Vec<Rect> {
        let apart = [layout.plan, layout.circle, layout.parameters];
        let always = [layout.header, layout.chooser, layout.chosen, layout.status];
        apart.into_iter().flatten().chain(always).collect()
    }

    #[test]
    fn no_room_reaches_into_another_or_out_of_the_window_at_any_size() {
        for width in (380..2400).step_by(37) {
            for height in (240..1600).step_by(41) {
                let (width, height) = (width as f32, height as f32);
                let window = Rect::from_min_size(Pos2::ZERO, vec2(width, height));
                let rooms = rooms(&at(width, height));
                for (index, room) in rooms.iter().enumerate() {
                    assert!(window.contains_rect(*room), "{width}x{height}: {room:?}");
                    for other in &rooms[index + 1..] {
                        let shared = room.intersect(*other);
                        assert!(
                            !shared.is_positive(),
                            "{width}x{height}: {room:?} and {other:?}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn the_smallest_window_has_room_for_one_view_beside_the_parameters() {
        let layout = at(SMALLEST.x, SMALLEST.y);
        assert!(layout.parameters.is_some());
        assert!(layout.chosen.width() >= 340.0 && layout.chosen.height() >= 220.0);
        assert!(layout.choice.contains(&View::Circle) && layout.choice.contains(&View::Plan));
    }

    #[test]
    fn a_usual_window_shows_circle_plan_and_one_more_view_at_once() {
        for (width, height) in [(960.0, 640.0), (1200.0, 800.0), (1900.0, 1000.0)] {
            let layout = at(width, height);
            let views = [layout.plan, layout.circle, Some(layout.chosen)];
            for view in views {
                let view = view.expect("it has a room");
                assert!(
                    view.width() >= 320.0 && view.height() >= 185.0,
                    "{width}x{height}: {view:?}"
                );
            }
        }
    }

    #[test]
    fn a_view_without_a_room_here_gives_way_to_the_first_there_is() {
        assert_eq!(at(1200.0, 800.0).chosen_view(View::Plan), View::Notes);
        assert_eq!(at(760.0, 480.0).chosen_view(View::Plan), View::Plan);
        assert_eq!(
            at(480.0, 320.0).chosen_view(View::Parameters),
            View::Parameters
        );
    }

    #[test]
    fn zoom_keeps_a_window_on_its_screen() {
        let screen = vec2(1366.0, 768.0);
        for zoom in [0.75, 1.0, 1.25, 1.5, 1.75, 2.0] {
            for points in [vec2(760.0, 480.0), vec2(960.0, 640.0), vec2(1280.0, 820.0)] {
                let (fits, size) = fitting(points, zoom, screen);
                let pixels = size * fits;
                assert!(
                    pixels.x <= screen.x && pixels.y <= screen.y,
                    "{points} at {zoom}"
                );
                assert!(
                    size.x >= LEAST.x && size.y >= LEAST.y,
                    "{points} at {zoom}: {size}"
                );
                assert!(fits <= zoom);
            }
        }
        // Where there is room, nothing is taken away.
        let large = vec2(3840.0, 2160.0);
        assert_eq!(
            fitting(vec2(960.0, 640.0), 2.0, large),
            (2.0, vec2(960.0, 640.0))
        );
        // Near the lower right corner of the screen, less is left.
        let (zoom, _) = fitting(vec2(960.0, 640.0), 2.0, vec2(800.0, 500.0));
        assert_eq!(zoom, 1.5);
    }
}
