//! Places in, single pieces of a scene out, in the inks of the page: what pictures are made of that have no axes of the
//! library's.

use kuva::render::render::{Primitive, TextAnchor};

/// Text of the usual size at a point, for scenes.
pub fn words([x, y]: [f64; 2], content: String, anchor: TextAnchor) -> Primitive {
    Primitive::Text {
        x,
        y,
        content,
        size: 12,
        anchor,
        rotate: None,
        bold: false,
        color: Some("var(--ink)".into()),
    }
}

/// A straight line, for scenes.
pub fn rule(from: [f64; 2], to: [f64; 2], ink: &str, width: f64) -> Primitive {
    Primitive::Line {
        x1: from[0],
        y1: from[1],
        x2: to[0],
        y2: to[1],
        stroke: ink.into(),
        stroke_width: width,
        stroke_dasharray: None,
    }
}
