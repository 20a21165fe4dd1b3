//! A route out of a plan that was taken away as JSON.

use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::wish::{RouteWish, Wish};
use crate::files::Reader;
use egui::{Button, RichText, TextEdit, Ui};
use procession_core::route::Route;
use std::sync::Arc;
use std::time::Duration;

/// How often it is looked whether a file was read.
const LOOK_AGAIN: Duration = Duration::from_millis(30);

/// What stands in the field, and what is being read.
#[derive(Debug, Default)]
pub struct PlanFile {
    path: String,
    reader: Reader<Result<Route, String>>,
}

impl PlanFile {
    /// Shows the field as one of a row of tools.
    pub fn show(&mut self, ui: &mut Ui, look: &Look, wishes: &mut Vec<Wish>) {
        const WHAT: &str = "Path of a plan (.json)";
        let field = TextEdit::singleline(&mut self.path)
            .hint_text(RichText::new(WHAT).color(look.quiet))
            .desired_width(150.0);
        let field = ui.add(field).accessible_name(WHAT);
        let entered = focus::entered(ui, &field);
        if field.changed() {
            self.reader.stop();
        }
        field.on_hover_text(
            "A plan that was written under Files, as JSON: its stages become the written form. Undo \
             brings back what was there.",
        );
        let button = ui.add_enabled(!self.reader.is_reading(), Button::new("Open plan"));
        if button.clicked() || entered {
            let refused = self.reader.read_plan(self.path.clone()).err();
            wishes.extend(refused.map(Wish::Say));
        }
        wishes.extend(self.reader.answer().map(|answer| match answer {
            Ok(route) => take(route),
            Err(refusal) => Wish::Say(refusal),
        }));
        if self.reader.is_reading() {
            ui.ctx().request_repaint_after(LOOK_AGAIN);
        }
    }
}

fn take(route: Route) -> Wish {
    const GENERATED: &str = "The form of that plan was not written: the settings made it, so there are \
                             no stages to take over. Write a form out before its plan is written.";
    if route.is_written() {
        let called = "opening a plan".to_owned();
        Wish::Route(RouteWish::Take(Arc::new(route), called))
    } else {
        Wish::Say(GENERATED.to_owned())
    }
}
