//! When every unit ran in, a map of the day out: a line a unit, time of day along the bottom, what ran together as solid
//! bars, what ran alone as empty ones.

use kuva::render::color::Color;
use kuva::render::render::{Primitive, Scene, TextAnchor};

use super::axis::{Axis, Scale, Steps};
use super::plots::Size;
use super::scene::{rule, words};

/// Heights, pixels: a line, the bar in it, what stands below the lines.
const LINE: f64 = 30.0;
const BAR: f64 = 12.0;
const BELOW: f64 = 40.0;
const ABOVE: f64 = 6.0;
/// The narrowest bar that is still seen.
const LEAST: f64 = 1.6;
/// Right of the lines: half a label.
const RIGHT: f64 = 22.0;
/// The width of a letter of a label, and the widest that labels may be of the whole.
const LETTER: f64 = 7.0;
const MOST_LABEL: f64 = 0.3;
/// The shortest day that is shown: a take of some seconds is not stretched over the page.
const SHORTEST_S: f64 = 60.0;

/// What ran when on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayMap {
    /// Unique on its page.
    pub id: String,
    /// A line a unit, from the top.
    pub lines: Vec<DayLine>,
}

/// What one unit recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct DayLine {
    /// The unit.
    pub unit: String,
    /// Its takes.
    pub bars: Vec<DayBar>,
}

/// One take.
#[derive(Debug, Clone, PartialEq)]
pub struct DayBar {
    /// When it began, seconds since midnight of the day.
    pub from_s: f64,
    /// When it ended; beyond 86 400 on the next day.
    pub until_s: f64,
    /// Its number among the day's recordings; absent for a take that ran alone.
    pub recording: Option<usize>,
}

impl DayMap {
    /// What it shows, in a few words.
    pub const TITLE: &'static str = "What ran when";

    /// What there is to see in it, in a sentence.
    pub fn description(&self) -> String {
        let lines = self.lines.iter().map(|line| {
            let alone = line.bars.iter().filter(|bar| bar.recording.is_none());
            format!(
                "{}: {} together with others, {} alone",
                line.unit,
                line.bars.len() - alone.clone().count(),
                alone.count()
            )
        });
        lines.collect::<Vec<_>>().join("; ")
    }

    /// How high it is drawn.
    pub fn height(&self) -> f64 {
        ABOVE + LINE * self.lines.len() as f64 + BELOW
    }

    /// What is drawn.
    pub fn scene(&self, size: Size) -> Scene {
        let mut scene = Scene::new(size.width, size.height).with_background(None);
        let longest = self
            .lines
            .iter()
            .map(|line| line.unit.chars().count())
            .max();
        let asked = LETTER * longest.unwrap_or(0) as f64 + 16.0;
        let left = asked.min(MOST_LABEL * size.width);
        let letters = ((left - 16.0) / LETTER) as usize;
        let view = View::of(self, left, size.width - RIGHT);
        view.axis(&mut scene, self.height());
        for (number, line) in self.lines.iter().enumerate() {
            let middle = ABOVE + LINE * (number as f64 + 0.62);
            let label: String = line.unit.chars().take(letters).collect();
            scene.add(words([left - 8.0, middle + 4.0], label, TextAnchor::End));
            scene.add(rule(
                [left, middle],
                [size.width - RIGHT, middle],
                "var(--rule)",
                0.6,
            ));
            let mut labelled = f64::NEG_INFINITY;
            for bar in &line.bars {
                let (from, until) = (view.at(bar.from_s), view.at(bar.until_s));
                let width = (until - from).max(LEAST);
                scene.add(Primitive::Rect {
                    x: from,
                    y: middle - BAR / 2.0,
                    width,
                    height: BAR,
                    fill: match bar.recording {
                        Some(_) => "var(--ink)".into(),
                        None => Color::None,
                    },
                    stroke: Some("var(--ink)".into()),
                    stroke_width: Some(0.8),
                    opacity: None,
                });
                // numbers stand above the first line, where there is room
                let centre = from + width / 2.0;
                if let Some(recording) = bar.recording.filter(|_| centre - labelled > 16.0) {
                    let text = recording.to_string();
                    scene.add(words(
                        [centre, middle - BAR / 2.0 - 3.0],
                        text,
                        TextAnchor::Middle,
                    ));
                    labelled = centre;
                }
            }
        }
        scene
    }
}

/// Which stretch of the day is shown, and where.
struct View {
    least_s: f64,
    greatest_s: f64,
    left: f64,
    right: f64,
    step_s: f64,
}

impl View {
    fn of(map: &DayMap, left: f64, right: f64) -> Self {
        let bars = || map.lines.iter().flat_map(|line| &line.bars);
        let first = bars().map(|bar| bar.from_s).fold(f64::INFINITY, f64::min);
        let last = bars().map(|bar| bar.until_s).fold(first, f64::max);
        let (first, last) = match first.is_finite() {
            true => (first, last.max(first + SHORTEST_S)),
            false => (0.0, SHORTEST_S),
        };
        // a label of hours and minutes takes some 45 pixels
        let axis = Axis {
            label: String::new(),
            least: first,
            greatest: last,
            scale: Scale::Time,
        };
        let step_s = Steps::of(&axis, ((right - left) / 75.0).max(2.0))
            .step
            .max(60.0);
        Self {
            least_s: (first / step_s).floor() * step_s,
            greatest_s: (last / step_s).ceil() * step_s,
            left,
            right,
            step_s,
        }
    }

    fn at(&self, time_s: f64) -> f64 {
        let share = (time_s - self.least_s) / (self.greatest_s - self.least_s);
        self.left + (self.right - self.left) * share.clamp(0.0, 1.0)
    }

    fn axis(&self, scene: &mut Scene, height: f64) {
        let bottom = height - BELOW + 6.0;
        let steps = ((self.greatest_s - self.least_s) / self.step_s).round() as usize;
        for step in 0..=steps {
            let time_s = self.least_s + self.step_s * step as f64;
            let x = self.at(time_s);
            scene.add(rule([x, ABOVE], [x, bottom], "var(--rule)", 0.5));
            let minutes = (time_s / 60.0).round() as u64 % 1440;
            let label = format!("{:02}:{:02}", minutes / 60, minutes % 60);
            scene.add(words([x, bottom + 14.0], label, TextAnchor::Middle));
        }
        scene.add(rule(
            [self.left, bottom],
            [self.right, bottom],
            "var(--ink)",
            1.0,
        ));
        let middle = (self.left + self.right) / 2.0;
        scene.add(words(
            [middle, height - 4.0],
            "time of day".into(),
            TextAnchor::Middle,
        ));
    }
}
