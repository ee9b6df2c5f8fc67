//! Pages of marks in, the file out; figures are drawn from the same scene as on the screen.

use krilla::Document as File;
use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Rect, Transform};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::TextDirection;
use kuva::render::color::Color;
use kuva::render::render::{Primitive, Scene, TextAnchor};

use super::SMALL;
use super::face::Faces;
use super::flow::{Ink, Mark, Sheet, Style};
use crate::error::{Error, Kind, Result};
use crate::report::document::Document;

/// Draws all pages with their feet.
pub fn draw(
    pages: Vec<Vec<Mark>>,
    document: &Document,
    faces: &Faces,
    sheet: Sheet,
) -> Result<Vec<u8>> {
    let refused = |why: &str| {
        Error::new(
            Kind::Format,
            format!("{} cannot be printed: {why}", document.title),
        )
    };
    let mut file = File::new_with(SerializeSettings::default());
    let count = pages.len();
    for (number, marks) in pages.into_iter().enumerate() {
        let settings = PageSettings::from_wh(sheet.width, sheet.height)
            .ok_or_else(|| refused("the paper has no size"))?;
        let mut page = file.start_page_with(settings);
        let mut surface = page.surface();
        let mut pen = Pen {
            surface: &mut surface,
            faces,
        };
        marks.iter().for_each(|mark| pen.mark(mark));
        pen.foot(document, sheet, number + 1, count);
        surface.finish();
        page.finish();
    }
    file.set_metadata(
        Metadata::new()
            .title(document.title.clone())
            .description(document.kind.clone())
            .creator(document.made_by.clone())
            .language("en".into()),
    );
    file.finish()
        .map_err(|error| refused(&format!("{error:?}")))
}

struct Pen<'a, 'b> {
    surface: &'a mut Surface<'b>,
    faces: &'a Faces,
}

/// Where text stands against the point it is given.
#[derive(Clone, Copy, PartialEq)]
enum Anchor {
    Start,
    Middle,
    End,
}

impl Pen<'_, '_> {
    fn mark(&mut self, mark: &Mark) {
        match mark {
            Mark::Words {
                x,
                y,
                style,
                ink,
                text,
            } => self.words((*x, *y), *style, colour_of(*ink), text, Anchor::Start),
            Mark::Line {
                from,
                to,
                width,
                ink,
            } => self.line(&[*from, *to], colour_of(*ink), *width, None),
            Mark::Picture {
                at,
                scale,
                drawing,
                size,
            } => {
                let place = Transform::from_row(*scale, 0.0, 0.0, *scale, at.0, at.1);
                self.surface.push_transform(&place);
                self.scene(&drawing.scene(*size));
                self.surface.pop();
            }
        }
    }

    fn foot(&mut self, document: &Document, sheet: Sheet, number: usize, count: usize) {
        let y = sheet.height - Sheet::MARGIN + 6.0;
        let ink = colour_of(Ink::Soft);
        let style = Style::new(SMALL.size - 0.5);
        let left = format!("{} · {}", document.title, document.made_by);
        self.words((Sheet::MARGIN, y), style, ink, &left, Anchor::Start);
        let right = format!("{number} of {count}");
        let x = sheet.width - Sheet::MARGIN;
        self.words((x, y), style, ink, &right, Anchor::End);
    }

    fn words(
        &mut self,
        (x, y): (f32, f32),
        style: Style,
        ink: rgb::Color,
        text: &str,
        anchor: Anchor,
    ) {
        let runs = self.faces.runs(text, style.bold, &mut Vec::new());
        let whole: f32 = runs.iter().map(|run| run.width).sum::<f32>() * style.size;
        let mut x = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - whole / 2.0,
            Anchor::End => x - whole,
        };
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(solid(ink, 1.0)));
        for run in runs {
            let at = Point::from_xy(x, y);
            let (font, direction) = (run.font, TextDirection::Auto);
            self.surface
                .draw_text(at, font, style.size, &run.text, false, direction);
            x += run.width * style.size;
        }
    }

    fn line(&mut self, points: &[(f32, f32)], ink: rgb::Color, width: f32, dash: Option<&str>) {
        let mut path = PathBuilder::new();
        for (number, (x, y)) in points.iter().enumerate() {
            match number {
                0 => path.move_to(*x, *y),
                _ => path.line_to(*x, *y),
            }
        }
        self.path(path.finish(), None, Some(stroke(ink, width, dash)));
    }

    /// A line of a scene.
    fn curve(&mut self, points: &[(f64, f64)], colour: &Color, width: f64, dash: Option<&str>) {
        let points: Vec<_> = points.iter().map(|(x, y)| (*x as f32, *y as f32)).collect();
        if let Some(ink) = ink_of(colour) {
            self.line(&points, ink, width as f32, dash);
        }
    }

    fn path(&mut self, path: Option<Path>, fill: Option<Fill>, stroke: Option<Stroke>) {
        let Some(path) = path.filter(|_| fill.is_some() || stroke.is_some()) else {
            return;
        };
        self.surface.set_fill(fill);
        self.surface.set_stroke(stroke);
        self.surface.draw_path(&path);
    }

    /// Draws what the plotting library laid out.
    fn scene(&mut self, scene: &Scene) {
        let mut pushed = 0;
        for one in &scene.elements {
            match one {
                Primitive::ClipStart {
                    x,
                    y,
                    width,
                    height,
                    ..
                } => {
                    let mut path = PathBuilder::new();
                    push_rectangle(&mut path, [*x, *y, *width, *height]);
                    if let Some(path) = path.finish() {
                        self.surface.push_clip_path(&path, &FillRule::NonZero);
                        pushed += 1;
                    }
                }
                Primitive::ClipEnd if pushed > 0 => {
                    self.surface.pop();
                    pushed -= 1;
                }
                other => self.primitive(other),
            }
        }
        (0..pushed).for_each(|_| self.surface.pop());
    }

    fn primitive(&mut self, one: &Primitive) {
        match one {
            Primitive::Text {
                x,
                y,
                content,
                size,
                anchor,
                rotate,
                bold,
                color,
            } => {
                let (x, y) = (*x as f32, *y as f32);
                let ink = color.as_ref().and_then(ink_of);
                let ink = ink.unwrap_or(colour_of(Ink::Text));
                let anchor = match anchor {
                    TextAnchor::Start => Anchor::Start,
                    TextAnchor::Middle => Anchor::Middle,
                    TextAnchor::End => Anchor::End,
                };
                let style = Style {
                    size: *size as f32,
                    bold: *bold,
                };
                let turn = Transform::from_rotate_at(rotate.unwrap_or(0.0) as f32, x, y);
                self.surface.push_transform(&turn);
                self.words((x, y), style, ink, content, anchor);
                self.surface.pop();
            }
            Primitive::Line {
                x1,
                y1,
                x2,
                y2,
                stroke,
                stroke_width,
                stroke_dasharray,
            } => {
                let ends = [(*x1, *y1), (*x2, *y2)];
                self.curve(&ends, stroke, *stroke_width, stroke_dasharray.as_deref());
            }
            Primitive::PolyLine {
                points,
                stroke,
                stroke_width,
                stroke_dasharray,
            } => self.curve(points, stroke, *stroke_width, stroke_dasharray.as_deref()),
            Primitive::Rect {
                x,
                y,
                width,
                height,
                fill,
                stroke: edge,
                stroke_width,
                opacity,
            } => {
                let mut path = PathBuilder::new();
                push_rectangle(&mut path, [*x, *y, *width, *height]);
                let fill = ink_of(fill).map(|ink| solid(ink, opacity.unwrap_or(1.0)));
                let edge = edge.as_ref().and_then(ink_of);
                let edge = edge.map(|ink| stroke(ink, stroke_width.unwrap_or(1.0) as f32, None));
                self.path(path.finish(), fill, edge);
            }
            Primitive::Circle {
                cx,
                cy,
                r,
                fill,
                fill_opacity,
                stroke: edge,
                stroke_width,
            } => {
                let look = ring(fill, *fill_opacity, edge.as_ref(), *stroke_width);
                self.path(circle(*cx, *cy, *r), look.0, look.1);
            }
            Primitive::CircleBatch {
                cx,
                cy,
                r,
                fill,
                fill_opacity,
                stroke: edge,
                stroke_width,
            } => {
                for (cx, cy) in cx.iter().zip(cy) {
                    let look = ring(fill, *fill_opacity, edge.as_ref(), *stroke_width);
                    self.path(circle(*cx, *cy, *r), look.0, look.1);
                }
            }
            Primitive::Path(data) => {
                let opacity = data.opacity.unwrap_or(1.0);
                let fill = data.fill.as_ref().and_then(ink_of);
                let edge = ink_of(&data.stroke).filter(|_| data.stroke_width > 0.0);
                let dash = data.stroke_dasharray.as_deref();
                self.path(
                    path_of(&data.d),
                    fill.map(|ink| solid(ink, opacity)),
                    edge.map(|ink| stroke(ink, data.stroke_width as f32, dash)),
                );
            }
            // nothing that our figures are made of
            _ => {}
        }
    }
}

fn ring(
    fill: &Color,
    opacity: Option<f64>,
    edge: Option<&Color>,
    width: Option<f64>,
) -> (Option<Fill>, Option<Stroke>) {
    let opacity = opacity.unwrap_or(1.0);
    let fill = ink_of(fill).filter(|_| opacity > 0.0);
    let edge = edge.and_then(ink_of);
    (
        fill.map(|ink| solid(ink, opacity)),
        edge.map(|ink| stroke(ink, width.unwrap_or(1.0) as f32, None)),
    )
}

fn push_rectangle(path: &mut PathBuilder, sides: [f64; 4]) {
    let [x, y, width, height] = sides.map(|side| side as f32);
    if let Some(sides) = Rect::from_xywh(x, y, width, height) {
        path.push_rect(sides);
    }
}

/// Four cubic arcs; the usual constant, off the circle by less than 3e-4 of the radius.
fn circle(cx: f64, cy: f64, r: f64) -> Option<Path> {
    const ARC: f32 = 0.552_285;
    let (cx, cy, r) = (cx as f32, cy as f32, r as f32);
    let c = r * ARC;
    let mut path = PathBuilder::new();
    path.move_to(cx + r, cy);
    path.cubic_to(cx + r, cy + c, cx + c, cy + r, cx, cy + r);
    path.cubic_to(cx - c, cy + r, cx - r, cy + c, cx - r, cy);
    path.cubic_to(cx - r, cy - c, cx - c, cy - r, cx, cy - r);
    path.cubic_to(cx + c, cy - r, cx + r, cy - c, cx + r, cy);
    path.close();
    path.finish()
}

/// Reads the path language of SVG 2 (section 9.3) as far as our figures use it: absolute moves, lines, curves, closing.
fn path_of(text: &str) -> Option<Path> {
    let mut path = PathBuilder::new();
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_alphabetic() && c != 'e') {
        let command = rest.as_bytes()[at];
        let after = &rest[at + 1..];
        let end = after
            .find(|c: char| c.is_ascii_alphabetic() && c != 'e')
            .unwrap_or(after.len());
        let numbers: Vec<f32> = after[..end]
            .split([' ', ','])
            .filter(|number| !number.is_empty())
            .map(str::parse)
            .collect::<std::result::Result<_, std::num::ParseFloatError>>()
            .ok()?;
        match (command, &numbers[..]) {
            (b'M', [x, y, more @ ..]) => {
                path.move_to(*x, *y);
                lines(&mut path, more);
            }
            (b'L', points) => lines(&mut path, points),
            (b'C', points) => {
                for one in points.as_chunks::<6>().0 {
                    path.cubic_to(one[0], one[1], one[2], one[3], one[4], one[5]);
                }
            }
            (b'Z' | b'z', _) => path.close(),
            _ => return None,
        }
        rest = &after[end..];
    }
    path.finish()
}

fn lines(path: &mut PathBuilder, points: &[f32]) {
    for [x, y] in points.as_chunks::<2>().0 {
        path.line_to(*x, *y);
    }
}

fn solid(ink: rgb::Color, opacity: f64) -> Fill {
    Fill {
        paint: ink.into(),
        opacity: NormalizedF32::new(opacity.clamp(0.0, 1.0) as f32).unwrap_or(NormalizedF32::ONE),
        rule: FillRule::NonZero,
    }
}

fn stroke(ink: rgb::Color, width: f32, dash: Option<&str>) -> Stroke {
    let array: Vec<f32> = dash
        .unwrap_or_default()
        .split([' ', ','])
        .filter_map(|number| number.parse().ok())
        .collect();
    Stroke {
        paint: ink.into(),
        width,
        dash: (!array.is_empty()).then_some(StrokeDash { array, offset: 0.0 }),
        ..Stroke::default()
    }
}

fn colour_of(ink: Ink) -> rgb::Color {
    match ink {
        Ink::Text => rgb::Color::new(0, 0, 0),
        Ink::Soft => rgb::Color::new(0x44, 0x44, 0x44),
        Ink::Rule => rgb::Color::new(0x99, 0x99, 0x99),
    }
}

/// The page's inks as they are on paper (`html/report.css`, `@media print`).
fn ink_of(colour: &Color) -> Option<rgb::Color> {
    let rgb = match colour {
        Color::None => return None,
        Color::Rgb(r, g, b) => [*r, *g, *b],
        Color::Css(name) => match &**name {
            "none" => return None,
            "var(--rule)" => [0xbb; 3],
            "var(--soft)" => [0x44; 3],
            "var(--second)" => [0x7a, 0x2c, 0x08],
            "var(--band)" => [0xdd, 0xe4, 0xea],
            "var(--broad)" => [0xb5, 0xcf, 0xe2],
            "var(--mark)" => [0xee; 3],
            "var(--paper)" => [0xff; 3],
            _ => [0; 3],
        },
    };
    Some(rgb::Color::new(rgb[0], rgb[1], rgb[2]))
}
