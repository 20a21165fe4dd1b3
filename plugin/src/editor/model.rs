//! What the views draw, worked out without a window: positions, labels, roles of colour.

pub mod phrase;
