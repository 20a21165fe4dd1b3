//! The look: paper and ink, light and dark; a hue, a mark and a line for every voice, so that
//! nothing is told by hue alone.

use egui::{Color32, Painter, Pos2, Rect, Response, Shape, Stroke, StrokeKind, vec2};
use procession_core::marks;
use procession_core::part::{MAX_VOICES, Part};

pub use procession_core::marks::dashes_in_window as dashes;

/// Light on dark, or dark on light.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// Dark on light.
    #[default]
    Light,
    /// Light on dark.
    Dark,
}

/// The colours of a theme, by what they are for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// Behind everything.
    pub paper: Color32,
    /// Behind a group of things.
    pub card: Color32,
    /// Text, and the steady voice. At least 4.5:1 on paper and card.
    pub ink: Color32,
    /// Text that matters less. At least 4.5:1 on paper and card.
    pub quiet: Color32,
    /// Lines that only divide.
    pub rule: Color32,
    /// Edges of what can be touched. At least 3:1 on paper and card.
    pub edge: Color32,
    /// What is chosen, held, or now. At least 3:1 on paper and card.
    pub accent: Color32,
    /// A problem. At least 4.5:1.
    pub alarm: Color32,
    /// A hue for each voice, the steady one first. At least 3:1 on paper and card.
    pub voices: [Color32; MAX_VOICES],
}

impl Look {
    /// The look of a theme.
    pub fn of(theme: Theme) -> Self {
        match theme {
            Theme::Light => LIGHT,
            Theme::Dark => DARK,
        }
    }
}

impl Look {
    /// The frame of a card that can be chosen among others.
    pub fn frame(&self, painter: &Painter, room: Rect, response: &Response, is_chosen: bool) {
        let stroke = if is_chosen {
            Stroke::new(2.0, self.accent)
        } else if response.hovered() {
            Stroke::new(1.0, self.ink)
        } else {
            Stroke::new(1.0, self.edge)
        };
        painter.rect_stroke(room, 5.0, stroke, StrokeKind::Inside);
    }

    /// The hue of a part: of a voice its own, of the resulting line that of what is now.
    pub fn hue(&self, part: Part) -> Color32 {
        self.voices
            .get(part.index())
            .copied()
            .unwrap_or(self.accent)
    }
}

/// How much of its colour is left of what is disabled.
pub const DISABLED: f32 = 0.7;

const fn hex(rgb: u32) -> Color32 {
    Color32::from_rgb((rgb >> 16) as u8, (rgb >> 8) as u8, rgb as u8)
}

const fn hues(of_voices: [u32; MAX_VOICES]) -> [Color32; MAX_VOICES] {
    let mut hues = [Color32::BLACK; MAX_VOICES];
    let mut voice = 0;
    while voice < MAX_VOICES {
        hues[voice] = hex(of_voices[voice]);
        voice += 1;
    }
    hues
}

const LIGHT: Look = Look {
    paper: hex(0xF4F2EB),
    card: hex(0xFCFBF7),
    ink: hex(marks::INK),
    quiet: hex(0x55606A),
    rule: hex(0xD9D6CC),
    edge: hex(0x7C8480),
    accent: hex(0x1B6F5C),
    alarm: hex(0xA3291C),
    voices: hues(marks::HUES_ON_LIGHT),
};

const DARK: Look = Look {
    paper: hex(0x161B20),
    card: hex(0x1E252B),
    ink: hex(0xECE8DD),
    quiet: hex(0xA9B0B2),
    rule: hex(0x343C43),
    edge: hex(0x7B868C),
    accent: hex(0x63C7AC),
    alarm: hex(0xF08A78),
    voices: hues(marks::HUES_ON_DARK),
};

/// The mark of a voice: a disc for the steady one, polygons for copies; filled for an onset,
/// hollow for what does not sound.
pub fn mark(part: Part, at: Pos2, radius: f32, hue: Color32, filled: bool) -> Shape {
    let fill = if filled { hue } else { Color32::TRANSPARENT };
    let stroke = Stroke::new(1.5, hue);
    let Some(corners) = marks::corners(part) else {
        return Shape::Circle(egui::epaint::CircleShape {
            center: at,
            radius,
            fill,
            stroke,
        });
    };
    let points = corners
        .map(|(right, down)| at + vec2(right as f32, down as f32) * radius * 1.2)
        .collect();
    Shape::convex_polygon(points, fill, stroke)
}

/// Signs and sizes of text, once a window.
pub fn prepare(ctx: &egui::Context) {
    use egui::{FontId, TextStyle};
    super::accidentals::install(ctx);
    ctx.all_styles_mut(|style| {
        let sizes = [
            (TextStyle::Small, 12.0),
            (TextStyle::Body, 14.0),
            (TextStyle::Button, 14.0),
            (TextStyle::Heading, 19.0),
        ];
        for (text, size) in sizes {
            style.text_styles.insert(text, FontId::proportional(size));
        }
        style.spacing.item_spacing = vec2(6.0, 4.0);
        style.interaction.tooltip_delay = 0.4;
    });
}

/// Puts a theme on all that egui draws by itself.
pub fn dress(ctx: &egui::Context, theme: Theme) {
    let look = Look::of(theme);
    let (base, mut visuals) = match theme {
        Theme::Light => (egui::Theme::Light, egui::Visuals::light()),
        Theme::Dark => (egui::Theme::Dark, egui::Visuals::dark()),
    };
    ctx.set_theme(base);
    // The window is cleared in this colour anyway; once more costs a frame a fifth more where there
    // is no graphics card.
    visuals.panel_fill = Color32::TRANSPARENT;
    visuals.window_fill = look.card;
    visuals.window_stroke = Stroke::new(1.0, look.edge);
    visuals.extreme_bg_color = look.paper;
    visuals.faint_bg_color = look.paper;
    visuals.weak_text_color = Some(look.quiet);
    visuals.override_text_color = None;
    visuals.selection.bg_fill = look.accent;
    visuals.selection.stroke = Stroke::new(1.0, look.card);
    // What is disabled stands back, but is read: 3:1 at least, see the test of the palette.
    visuals.disabled_alpha = DISABLED;
    visuals.text_cursor.stroke.color = look.accent;
    visuals.error_fg_color = look.alarm;
    visuals.warn_fg_color = look.alarm;
    let widgets = &mut visuals.widgets;
    let each = [
        (&mut widgets.noninteractive, look.card, look.rule, 1.0),
        (&mut widgets.inactive, look.paper, look.edge, 1.0),
        (&mut widgets.hovered, look.paper, look.ink, 1.5),
        (&mut widgets.active, look.paper, look.accent, 2.0),
        (&mut widgets.open, look.paper, look.accent, 1.0),
    ];
    for (widget, fill, edge, width) in each {
        widget.bg_fill = fill;
        widget.weak_bg_fill = fill;
        widget.bg_stroke = Stroke::new(width, edge);
        widget.fg_stroke = Stroke::new(1.5, look.ink);
        widget.expansion = 0.0;
    }
    ctx.set_visuals_of(base, visuals);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast as in WCAG 2.1, success criterion 1.4.3.
    fn contrast(one: Color32, other: Color32) -> f32 {
        let luminance = |colour: Color32| {
            let linear = |part: u8| {
                let part = f32::from(part) / 255.0;
                if part <= 0.03928 {
                    part / 12.92
                } else {
                    ((part + 0.055) / 1.055).powf(2.4)
                }
            };
            let [red, green, blue, _] = colour.to_array().map(linear);
            0.2126 * red + 0.7152 * green + 0.0722 * blue
        };
        let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
        (one / other).max(other / one)
    }

    /// What is left of a colour on a ground when it is disabled.
    fn disabled(colour: Color32, ground: Color32) -> Color32 {
        ground.lerp_to_gamma(colour, dressed(Theme::Light).disabled_alpha())
    }

    fn dressed(theme: Theme) -> egui::Visuals {
        let ctx = egui::Context::default();
        dress(&ctx, theme);
        ctx.global_style().visuals.clone()
    }

    #[test]
    fn the_palette_is_read_in_both_themes() {
        for theme in [Theme::Light, Theme::Dark] {
            let look = Look::of(theme);
            for ground in [look.paper, look.card] {
                for text in [look.ink, look.quiet, look.alarm] {
                    assert!(contrast(text, ground) >= 4.5, "{theme:?} {text:?}");
                }
                for mark in [look.edge, look.accent].into_iter().chain(look.voices) {
                    assert!(contrast(mark, ground) >= 3.0, "{theme:?} {mark:?}");
                }
            }
        }
    }

    #[test]
    fn what_is_disabled_is_read_too() {
        for theme in [Theme::Light, Theme::Dark] {
            let look = Look::of(theme);
            for ground in [look.paper, look.card] {
                for text in [look.ink, look.quiet] {
                    let ratio = contrast(disabled(text, ground), ground);
                    assert!(ratio >= 3.0, "{theme:?} {text:?}: {ratio}");
                }
                // A button in the colour of what is chosen, with a word on it.
                let (button, word) = (disabled(look.accent, ground), disabled(look.card, ground));
                let ratio = contrast(word, button);
                assert!(ratio >= 3.0, "{theme:?} button: {ratio}");
            }
        }
    }
}
