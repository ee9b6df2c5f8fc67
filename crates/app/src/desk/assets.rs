//! The files of all pages, held in the program: style sheets and scripts.

/// A file by its name, with its type.
pub fn asset(name: &str) -> Option<(&'static str, &'static str)> {
    const CSS: &str = "text/css; charset=utf-8";
    const SCRIPT: &str = "text/javascript; charset=utf-8";
    Some(match name {
        "page.css" => (CSS, engine::report::STYLE),
        "desk.css" => (CSS, include_str!("assets/desk.css")),
        "desk.js" => (SCRIPT, include_str!("assets/desk.js")),
        "seams.js" => (SCRIPT, include_str!("assets/seams.js")),
        "drawing.js" => (SCRIPT, include_str!("assets/drawing.js")),
        "scale.js" => (SCRIPT, include_str!("assets/scale.js")),
        _ => return None,
    })
}
