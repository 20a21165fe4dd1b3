//! Scrolling over the grid: by wheel, by bar, and by dragging past an edge.
//!
//! Not the toolkit's scroll area: it eases an offset it is given back to what was in bounds the
//! frame before, and rows that are added above must not move what is seen even for a moment.

use super::{Hand, PhraseView};
use crate::editor::model::phrase::Grid;
use egui::accesskit::Role;
use egui::{Rect, Response, Sense, Ui, Vec2, WidgetInfo};

/// How wide a bar is to the hand.
const BAR: f32 = 9.0;

impl PhraseView<'_> {
    /// Follows the wheel and the hand, and keeps within the grid.
    pub(super) fn scroll(&mut self, ui: &Ui, response: &Response, view: Rect, grid: &Grid) {
        if response.contains_pointer() {
            let wheel = ui.input(|input| input.smooth_scroll_delta());
            self.state.scroll -= wheel;
        }
        let busy = matches!(self.state.hand, Hand::Edits(_) | Hand::Chooses { .. });
        if let Some(at) = response.interact_pointer_pos().filter(|_| busy) {
            let past = at - view.clamp(at);
            if past != Vec2::ZERO {
                // A little each frame, the more the farther out.
                self.state.scroll += (past * 0.2).clamp(Vec2::splat(-12.0), Vec2::splat(12.0));
                ui.ctx().request_repaint();
            }
        }
        self.keep_within(view, grid);
    }

    pub(super) fn keep_within(&mut self, view: Rect, grid: &Grid) {
        let most = (grid.size() - view.size()).max(Vec2::ZERO);
        self.state.scroll = self.state.scroll.clamp(Vec2::ZERO, most);
    }

    /// The bars, where there is anything to scroll over.
    pub(super) fn scroll_bars(&mut self, ui: &Ui, view: Rect, grid: &Grid) {
        for (axis, name) in [(0, "Scroll in time"), (1, "Scroll in pitch")] {
            let (whole, part) = (grid.size()[axis], view.size()[axis]);
            if whole > part + 0.5 {
                self.scroll_bar(ui, view, axis, name, whole / part);
            }
        }
        self.keep_within(view, grid);
    }

    fn scroll_bar(&mut self, ui: &Ui, view: Rect, axis: usize, name: &str, times: f32) {
        let across = 1 - axis;
        let mut thumb = view;
        thumb.min[axis] = view.min[axis] + self.state.scroll[axis] / times;
        thumb.max[axis] = thumb.min[axis] + (view.size()[axis] / times).max(16.0);
        thumb.min[across] = view.max[across] - BAR;
        let response = ui.interact(thumb, ui.scope_id().with(name), Sense::DRAG);
        response.widget_info(|| WidgetInfo::labeled(Role::ScrollBar, true, name));
        self.state.scroll[axis] += response.drag_delta()[axis] * times;
        let busy = response.hovered() || response.dragged();
        let mut bar = thumb;
        bar.min[across] = bar.max[across] - if busy { 6.0 } else { 4.0 };
        let ink = if busy {
            self.look.accent
        } else {
            self.look.edge
        };
        ui.painter().rect_filled(bar.shrink(1.0), 2.0, ink);
    }
}
