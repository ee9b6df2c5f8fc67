//! A laid-out scene in, SVG for a page out: with a title and a description for those who cannot see it, a view box so that
//! it scales, the page's own inks, and the same bytes for the same picture.

use std::fmt::Write as _;

use kuva::prelude::SvgBackend;
use kuva::render::render::Scene;

use super::markup::Markup;
use super::plots::Size;

/// The scene as SVG, with our opening tag in place of the library's, its ids unique and its numbers short.
pub fn dress(scene: &Scene, size: Size, [id, title, description]: [&str; 3]) -> String {
    let drawn = SvgBackend::new().render_scene(scene);
    let body = drawn
        .split_once('>')
        .map_or("", |(_, body)| body)
        .trim_end()
        .trim_end_matches("</svg>");
    let body = renumbered(&without_comments(body)).replace("kuva-", &format!("{id}-"));
    let (title_id, description_id) = (format!("{id}-t"), format!("{id}-d"));
    let mut markup = Markup::default();
    markup.element(
        "svg",
        &[
            ("xmlns", "http://www.w3.org/2000/svg"),
            ("viewBox", &format!("0 0 {} {}", size.width, size.height)),
            ("role", "img"),
            ("aria-labelledby", &format!("{title_id} {description_id}")),
        ],
        |markup| {
            markup.leaf("title", &[("id", &title_id)], title);
            markup.leaf("desc", &[("id", &description_id)], description);
            markup.raw(&short_numbers(&body));
        },
    );
    markup.finish()
}

/// The library numbers its clips through the whole run of the program; here they count from 1 in every figure, so that the
/// same figure gives the same bytes.
fn renumbered(markup: &str) -> String {
    const CLIP: &str = "kuva-clip-";
    let mut seen: Vec<&str> = Vec::new();
    let mut parts = markup.split(CLIP);
    let mut out = parts.next().unwrap_or_default().to_string();
    for part in parts {
        let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let (number, rest) = part.split_at(digits);
        let place = seen
            .iter()
            .position(|known| *known == number)
            .unwrap_or_else(|| {
                seen.push(number);
                seen.len() - 1
            });
        out.push_str(&format!("{CLIP}{}{rest}", place + 1));
    }
    out
}

fn without_comments(markup: &str) -> String {
    let mut out = String::with_capacity(markup.len());
    let mut rest = markup;
    while let Some((before, after)) = rest.split_once("<!--") {
        out.push_str(before);
        rest = after.split_once("-->").map_or("", |(_, after)| after);
    }
    out.push_str(rest);
    out
}

/// Rounds every number inside tags to two decimals: the library writes the rest of a binary fraction out.
fn short_numbers(markup: &str) -> String {
    let mut out = String::with_capacity(markup.len());
    let mut inside = false;
    let mut rest = markup;
    while let Some(character) = rest.chars().next() {
        let digits = rest
            .find(|c: char| !(c.is_ascii_digit() || c == '.'))
            .unwrap_or(rest.len());
        let number = inside.then(|| rest[..digits].parse::<f64>().ok()).flatten();
        match number {
            Some(value) if rest[..digits].contains('.') => {
                let text = format!("{value:.2}");
                let _ = write!(out, "{}", text.trim_end_matches('0').trim_end_matches('.'));
                rest = &rest[digits..];
            }
            _ => {
                match character {
                    '<' => inside = true,
                    '>' => inside = false,
                    _ => {}
                }
                let taken = digits.max(character.len_utf8());
                out.push_str(&rest[..taken]);
                rest = &rest[taken..];
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_shortened_in_tags_and_left_alone_in_text() {
        assert_eq!(
            short_numbers("<a x=\"61.300000000000004\" y=\"5.0\">61.3000001 µ</a>"),
            "<a x=\"61.3\" y=\"5\">61.3000001 µ</a>"
        );
    }
}
