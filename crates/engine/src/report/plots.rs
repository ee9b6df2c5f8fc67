//! Curves, marks and axes in, one picture out: laid out by the kuva library, shown as SVG ([`super::dress`]) or printed
//! ([`super::print`]). What the library could not do and what was tried: docs/decisions/plots.md.

use kuva::prelude::{BandPlot, Layout, LinePlot, MarkerShape, Plot, ScatterPlot, Theme};
use kuva::render::render::{Scene, render_multiple};

use super::axis::{Axis, Steps};
use super::day_map::DayMap;
use super::dress::dress;
use super::lag::Point;
use super::strips::Strips;

/// The inks of the page, as its style sheet names them.
const INK: &str = "var(--ink)";
const FAINT: &str = "var(--rule)";
const SECOND: &str = "var(--second)";
const BAND: &str = "var(--band)";
const BROAD: &str = "var(--broad)";

/// How large a figure is drawn, in its own pixels; text is 12 of them high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// On paper and on wide screens.
pub const WIDE: Size = Size {
    width: 760.0,
    height: 230.0,
};
/// On a telephone.
pub const NARROW: Size = Size {
    width: 340.0,
    height: 240.0,
};

/// Something drawn. Each kind differs in shape, not in colour alone.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A thin line in the page's ink.
    Line(Vec<Point>),
    /// A thin broken line.
    Dashed(Vec<Point>),
    /// A broad pale line, to lie under a thin one.
    Broad(Vec<Point>),
    /// A shaded stretch between two curves: time, lower, upper.
    Band(Vec<(f64, f64, f64)>),
    /// Small open rings.
    Rings(Vec<Point>),
    /// Crosses.
    Crosses(Vec<Point>),
    /// Triangles, for what lies outside.
    Triangles(Vec<Point>),
}

/// A figure to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Unique on its page.
    pub id: String,
    /// What it shows, in a few words; read out.
    pub title: String,
    /// What there is to see in it, in a sentence; read out.
    pub description: String,
    /// Along the bottom.
    pub across: Axis,
    /// Up the side.
    pub up: Axis,
    /// What is drawn, first below.
    pub marks: Vec<Mark>,
}

/// A picture: laid out once, for the screen as SVG and for print as curves.
#[derive(Debug, Clone, PartialEq)]
pub enum Drawing {
    /// Curves along axes.
    Figure(Figure),
    /// What ran when.
    DayMap(DayMap),
    /// How loud every channel was.
    Strips(Strips),
}

impl Drawing {
    /// What is drawn, at that size.
    pub fn scene(&self, size: Size) -> Scene {
        match self {
            Self::Figure(figure) => figure.scene(size),
            Self::DayMap(map) => map.scene(size),
            Self::Strips(strips) => strips.scene(size),
        }
    }

    /// The picture as an `svg` element. The same picture always gives the same bytes.
    #[must_use]
    pub fn svg(&self, size: Size, id_suffix: &str) -> String {
        let (id, title, description) = match self {
            Self::Figure(figure) => return figure.svg(size, id_suffix),
            Self::DayMap(map) => (&map.id, DayMap::TITLE, map.description()),
            Self::Strips(strips) => (&strips.id, Strips::TITLE, strips.description()),
        };
        let names = [&format!("{id}{id_suffix}"), title, &description];
        dress(&self.scene(size), size, names)
    }

    /// Its size on paper and wide screens.
    pub fn printed(&self) -> Size {
        self.size(WIDE)
    }

    /// Its size on a telephone.
    pub fn narrow(&self) -> Size {
        self.size(NARROW)
    }

    fn size(&self, usual: Size) -> Size {
        let height = match self {
            Self::Figure(_) => usual.height,
            Self::DayMap(map) => map.height(),
            Self::Strips(strips) => strips.height(),
        };
        Size { height, ..usual }
    }
}

impl From<Figure> for Drawing {
    fn from(figure: Figure) -> Self {
        Self::Figure(figure)
    }
}

impl Figure {
    /// The figure as an `svg` element. The same figure always gives the same bytes.
    #[must_use]
    pub fn svg(&self, size: Size, id_suffix: &str) -> String {
        let id = format!("{}{id_suffix}", self.id);
        dress(
            &self.scene(size),
            size,
            [&id, &self.title, &self.description],
        )
    }

    /// What is drawn, at that size.
    fn scene(&self, size: Size) -> Scene {
        let plots: Vec<Plot> = self.marks.iter().filter_map(|mark| mark.plot()).collect();
        render_multiple(plots, self.layout(size))
    }

    fn layout(&self, size: Size) -> Layout {
        let narrow = size.width < 500.0;
        let (across, up) = (
            Steps::of(&self.across, if narrow { 4.0 } else { 8.0 }),
            Steps::of(&self.up, (size.height / 45.0).max(3.0)),
        );
        let left = 16.0 + 7.0 * up.longest(&self.up) as f64 + 14.0;
        Layout::new(
            (self.across.least, self.across.greatest),
            (self.up.least, self.up.greatest),
        )
        .with_width(size.width)
        .with_height(size.height)
        .with_theme(theme())
        .with_tick_size(12)
        .with_label_size(12)
        .with_axis_line_width(1.0)
        .with_grid_line_width(0.5)
        .with_x_label(self.across.label.clone())
        .with_y_label(self.up.label.clone())
        .with_x_axis_min(self.across.least)
        .with_x_axis_max(self.across.greatest)
        .with_y_axis_min(self.up.least)
        .with_y_axis_max(self.up.greatest)
        .with_x_tick_step(across.step)
        .with_y_tick_step(up.step)
        .with_x_tick_format(across.format(self.across.scale))
        .with_y_tick_format(up.format(self.up.scale))
        .with_force_margins(left, 16.0)
        .with_force_margins_y(10.0, 44.0)
    }
}

impl Mark {
    /// The library's plot; `None` when there is nothing finite to draw.
    fn plot(&self) -> Option<Plot> {
        let line = |points: &[Point], ink: &str, width: f64| {
            let points = finite(points);
            (points.len() >= 2).then(|| {
                LinePlot::new()
                    .with_data(points)
                    .with_color(ink)
                    .with_stroke_width(width)
                    .into()
            })
        };
        let marks = |points: &[Point], shape: MarkerShape, ink: &str, size: f64| {
            let points = finite(points);
            (!points.is_empty()).then(|| {
                ScatterPlot::new()
                    .with_data(points)
                    .with_color(ink)
                    .with_marker(shape)
                    .with_size(size)
                    .with_marker_opacity(0.0)
                    .with_marker_stroke_width(1.0)
                    .into()
            })
        };
        match self {
            Self::Line(points) => line(points, INK, 1.2),
            Self::Dashed(points) => {
                let points = finite(points);
                (points.len() >= 2).then(|| {
                    LinePlot::new()
                        .with_data(points)
                        .with_color(SECOND)
                        .with_stroke_width(1.2)
                        .with_dashed()
                        .into()
                })
            }
            Self::Broad(points) => line(points, BROAD, 4.5),
            Self::Rings(points) => marks(points, MarkerShape::Circle, INK, 2.2),
            Self::Crosses(points) => marks(points, MarkerShape::Cross, SECOND, 3.6),
            Self::Triangles(points) => marks(points, MarkerShape::Triangle, SECOND, 4.0),
            Self::Band(points) => {
                let points: Vec<_> = points
                    .iter()
                    .filter(|(x, low, high)| x.is_finite() && low.is_finite() && high.is_finite())
                    .collect();
                (points.len() >= 2).then(|| {
                    BandPlot::new(
                        points.iter().map(|point| point.0),
                        points.iter().map(|point| point.1),
                        points.iter().map(|point| point.2),
                    )
                    .with_color(BAND)
                    .with_opacity(1.0)
                    .into()
                })
            }
        }
    }
}

fn finite(points: &[Point]) -> Vec<Point> {
    points
        .iter()
        .copied()
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .collect()
}

fn theme() -> Theme {
    Theme {
        background: "none".into(),
        axis_color: INK.into(),
        grid_color: FAINT.into(),
        tick_color: INK.into(),
        text_color: INK.into(),
        font_family: None,
        show_grid: true,
        ..Theme::light()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::axis::Scale;

    fn figure(points: Vec<Point>) -> Figure {
        Figure {
            id: "f".into(),
            title: "A <title>".into(),
            description: "What is seen".into(),
            across: Axis {
                label: "time".into(),
                least: 0.0,
                greatest: 300.0,
                scale: Scale::Time,
            },
            up: Axis {
                label: "samples".into(),
                least: -1.0,
                greatest: 1.0,
                scale: Scale::Number,
            },
            marks: vec![
                Mark::Band(points.iter().map(|(x, y)| (*x, y - 0.1, y + 0.1)).collect()),
                Mark::Line(points.clone()),
                Mark::Rings(points.clone()),
                Mark::Crosses(points.clone()),
                Mark::Triangles(points),
            ],
        }
    }

    const SIZE: Size = Size {
        width: 720.0,
        height: 240.0,
    };

    #[test]
    fn a_figure_is_xml_with_title_scale_and_the_page_s_inks() {
        let svg = figure(vec![(0.0, 0.0), (150.0, 0.5), (300.0, -0.5)]).svg(SIZE, "-w");
        let tree = roxmltree::Document::parse(&svg).expect("well formed");
        let root = tree.root_element();
        assert_eq!(root.attribute("viewBox"), Some("0 0 720 240"));
        let title = root.first_element_child().expect("a child");
        assert_eq!(
            (title.tag_name().name(), title.text()),
            ("title", Some("A <title>"))
        );
        let inks: Vec<&str> = tree
            .descendants()
            .flat_map(|node| [node.attribute("fill"), node.attribute("stroke")])
            .flatten()
            .collect();
        assert!(inks.len() > 10);
        let own = |ink: &&str| ink.starts_with("var(--") || *ink == "none";
        let strange: Vec<_> = inks.iter().filter(|ink| !own(ink)).collect();
        assert!(strange.is_empty(), "{strange:?}");
        for time in ["1:00", "5:00"] {
            assert!(svg.contains(&format!(">{time}<")), "no {time} in {svg}");
        }
    }

    #[test]
    fn the_same_figure_gives_the_same_bytes() {
        let points = vec![(0.0, 0.0), (150.0, 0.5), (300.0, -0.5)];
        assert_eq!(
            figure(points.clone()).svg(SIZE, ""),
            figure(points).svg(SIZE, "")
        );
    }

    #[test]
    fn nothing_to_draw_is_no_reason_to_fail() {
        for points in [
            vec![],
            vec![(1.0, 1.0)],
            vec![(f64::NAN, 1.0), (2.0, f64::INFINITY)],
        ] {
            let svg = figure(points).svg(SIZE, "");
            roxmltree::Document::parse(&svg).expect("well formed");
        }
    }
}
