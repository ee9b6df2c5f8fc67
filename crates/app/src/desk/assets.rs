//! A name in, the file of that name that is held in the program out: style sheets, scripts, the sign of all pages.

/// A file by its name, with its type.
pub fn asset(name: &str) -> Option<(&'static str, &'static str)> {
    const CSS: &str = "text/css; charset=utf-8";
    const SCRIPT: &str = "text/javascript; charset=utf-8";
    Some(match name {
        "icon.svg" => ("image/svg+xml", include_str!("assets/icon.svg")),
        "page.css" => (CSS, engine::report::STYLE),
        "desk.css" => (CSS, include_str!("assets/desk.css")),
        "desk.js" => (SCRIPT, include_str!("assets/desk.js")),
        "seams.js" => (SCRIPT, include_str!("assets/seams.js")),
        "drawing.js" => (SCRIPT, include_str!("assets/drawing.js")),
        "scale.js" => (SCRIPT, include_str!("assets/scale.js")),
        _ => return None,
    })
}
