//! How loud every channel was along a recording in, a strip a channel out: the filled body is the RMS, the line above it the
//! peak, time along the bottom for all of them. Marks on a strip tell where it was clipped or broke off.

use std::fmt::Write as _;

use kuva::render::color::Color;
use kuva::render::render::{PathData, Primitive, Scene, TextAnchor};

use super::axis::{Axis, Scale, Steps};
use super::plots::Size;
use super::scene::{rule, words};
use crate::build::TakeQuality;
use crate::quality::{ChannelQuality, Loud, Runs};
use crate::units::Db;

/// What is shown, dB of full scale.
const LOWEST_DB: f64 = -60.0;
/// A strip and what is between strips, pixels; thinner when there are many.
const STRIP: f64 = 26.0;
const THIN: f64 = 15.0;
const THINNEST: f64 = 10.0;
const MANY: usize = 20;
const VERY_MANY: usize = 40;
const GAP: f64 = 3.0;
/// Between units.
const UNIT_GAP: f64 = 9.0;
/// Below all, for the axis.
const BELOW: f64 = 40.0;
const ABOVE: f64 = 8.0;
const RIGHT: f64 = 16.0;
/// Room for names, of the whole; pixels a letter; most letters.
const NAMES: f64 = 0.27;
const LETTER: f64 = 6.6;
const LETTERS: usize = 26;
/// Pixels a point of a curve.
const POINT: f64 = 2.6;

/// The strips of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Strips {
    /// Unique on its page.
    pub id: String,
    length_s: f64,
    strips: Vec<Strip>,
}

#[derive(Debug, Clone, PartialEq)]
struct Strip {
    /// Its number, unit and name, and without the unit, for where there is little room.
    name: String,
    short: String,
    unit: String,
    /// Seconds of a stretch.
    stretch_s: f64,
    cells: Vec<Loud>,
    clips_s: Vec<f64>,
    drop_outs_s: Vec<f64>,
}

impl Strips {
    /// What they show, in a few words.
    pub const TITLE: &'static str = "Level of every channel against time";

    /// The strips of what was measured; `None` where nothing was kept of its levels.
    pub fn of(quality: &TakeQuality) -> Option<Self> {
        let rate = f64::from(quality.sample_rate.max(1));
        let strip = |(number, channel): (usize, &crate::build::MeasuredChannel)| {
            let ChannelQuality {
                envelope,
                clips,
                drop_outs,
                ..
            } = &channel.quality;
            // names that units share carry the unit in front already
            let unit = format!("{}: ", channel.unit);
            let own = channel.name.strip_prefix(&unit).unwrap_or(&channel.name);
            let at = |runs: &Runs| runs.first.iter().map(|run| run[0] as f64 / rate).collect();
            Strip {
                name: format!("{} {}: {own}", number + 1, channel.unit),
                short: format!("{} {own}", number + 1),
                unit: channel.unit.clone(),
                stretch_s: envelope.stretch as f64 / rate,
                cells: envelope.cells.clone(),
                clips_s: at(clips),
                drop_outs_s: at(drop_outs),
            }
        };
        let strips: Vec<Strip> = quality.channels.iter().enumerate().map(strip).collect();
        let kept = strips.iter().any(|strip| !strip.cells.is_empty());
        kept.then(|| Self {
            id: "strips".into(),
            length_s: quality.length_samples as f64 / rate,
            strips,
        })
    }

    /// Whether any strip has a mark of clipping, and of drop-outs.
    pub fn marked(&self) -> [bool; 2] {
        let any =
            |of: fn(&Strip) -> &Vec<f64>| self.strips.iter().any(|strip| !of(strip).is_empty());
        [any(|strip| &strip.clips_s), any(|strip| &strip.drop_outs_s)]
    }

    /// What there is to see, in a sentence.
    pub fn description(&self) -> String {
        let loudest = self.strips.iter().map(|strip| {
            let peak = strip.cells.iter().map(|cell| cell.peak).fold(0.0, f64::max);
            match peak > 0.0 {
                true => format!("{} up to {:.1} dBFS", strip.name, Db::of_amplitude(peak).0),
                false => format!("{} silent", strip.name),
            }
        });
        loudest.collect::<Vec<_>>().join("; ")
    }

    /// How high they are drawn.
    pub fn height(&self) -> f64 {
        let strips = self.strips.len() as f64 * (self.strip() + GAP);
        ABOVE + strips + UNIT_GAP * self.breaks() as f64 + BELOW
    }

    fn strip(&self) -> f64 {
        match self.strips.len() {
            many if many > VERY_MANY => THINNEST,
            many if many > MANY => THIN,
            _ => STRIP,
        }
    }

    /// How often the unit changes from one strip to the next.
    fn breaks(&self) -> usize {
        let pairs = self.strips.windows(2);
        pairs.filter(|pair| pair[0].unit != pair[1].unit).count()
    }

    /// What stands beside each strip in so many letters: the units too where there is room for all of them.
    fn labels(&self, letters: usize) -> Vec<String> {
        let fits = |name: &str| name.chars().count() <= letters;
        let all = self.strips.iter().all(|strip| fits(&strip.name));
        let label = |strip: &Strip| match (all, fits(&strip.short)) {
            (true, _) => strip.name.clone(),
            (false, true) => strip.short.clone(),
            (false, false) => {
                let cut = strip.short.chars().take(letters.saturating_sub(1));
                cut.chain(['…']).collect()
            }
        };
        self.strips.iter().map(label).collect()
    }

    /// What is drawn.
    pub fn scene(&self, size: Size) -> Scene {
        let mut scene = Scene::new(size.width, size.height).with_background(None);
        let longest = self
            .strips
            .iter()
            .map(|strip| strip.name.chars().count())
            .max();
        let asked = LETTER * longest.unwrap_or(0).min(LETTERS) as f64 + 14.0;
        let left = asked.min(NAMES * size.width);
        // a hair more: what was asked for must not be cut by the last bit of a quotient
        let labels = self.labels(((left - 14.0) / LETTER + 1e-6).max(1.0) as usize);
        let right = size.width - RIGHT;
        let axis = Axis {
            label: String::new(),
            least: 0.0,
            greatest: self.length_s.max(1e-3),
            scale: Scale::Time,
        };
        let steps = Steps::of(&axis, ((right - left) / 85.0).max(2.0));
        let bottom = self.height() - BELOW + 4.0;
        for (time_s, label) in steps.ticks(&axis) {
            let x = left + (right - left) * time_s / axis.greatest;
            scene.add(rule([x, ABOVE], [x, bottom], "var(--rule)", 0.5));
            scene.add(words([x, bottom + 14.0], label, TextAnchor::Middle));
        }
        let mut y = ABOVE;
        for (number, strip) in self.strips.iter().enumerate() {
            if number > 0 && strip.unit != self.strips[number - 1].unit {
                y += UNIT_GAP;
            }
            let place = Place {
                left,
                width: right - left,
                top: y,
                height: self.strip(),
                length_s: axis.greatest,
            };
            strip.draw(&mut scene, place, labels[number].clone());
            y += self.strip() + GAP;
        }
        scene.add(rule([left, bottom], [right, bottom], "var(--ink)", 1.0));
        let middle = [(left + right) / 2.0, self.height() - 4.0];
        let label = "time since the recording's first sample".into();
        scene.add(words(middle, label, TextAnchor::Middle));
        scene
    }
}

/// Where a strip stands.
#[derive(Clone, Copy)]
struct Place {
    left: f64,
    width: f64,
    top: f64,
    height: f64,
    length_s: f64,
}

impl Place {
    fn x(self, time_s: f64) -> f64 {
        self.left + self.width * (time_s / self.length_s).clamp(0.0, 1.0)
    }

    fn y(self, level: f64) -> f64 {
        let share = (Db::of_amplitude(level).0 - LOWEST_DB) / -LOWEST_DB;
        self.top + self.height * (1.0 - share.clamp(0.0, 1.0))
    }
}

impl Strip {
    fn draw(&self, scene: &mut Scene, place: Place, label: String) {
        let base = place.top + place.height;
        let at = [place.left - 6.0, place.top + place.height / 2.0 + 4.0];
        scene.add(words(at, label, TextAnchor::End));
        let end = place.left + place.width;
        scene.add(rule([place.left, base], [end, base], "var(--soft)", 0.5));
        let points = (place.width / POINT).max(2.0) as usize;
        let cells = self.thinned(points);
        for sounding in cells
            .split(|(_, loud)| loud.peak == 0.0)
            .filter(|run| !run.is_empty())
        {
            let half = self.half_s(cells.len());
            let (first, last) = (sounding[0].0 - half, sounding[sounding.len() - 1].0 + half);
            let curve = |level: fn(&Loud) -> f64| {
                let mut path = String::new();
                for (time_s, loud) in sounding {
                    let (x, y) = (place.x(*time_s), place.y(level(loud)));
                    let _ = write!(path, " L {x:.1} {y:.1}");
                }
                path
            };
            let (left, right) = (place.x(first), place.x(last));
            let body = curve(|loud| loud.mean_square.sqrt());
            scene.add(path(
                format!("M {left:.1} {base:.1}{body} L {right:.1} {base:.1} Z"),
                true,
            ));
            let outline = curve(|loud| loud.peak);
            scene.add(path(
                format!("M {left:.1} {base:.1}{outline} L {right:.1} {base:.1}"),
                false,
            ));
        }
        for time_s in &self.clips_s {
            let x = place.x(*time_s);
            let top = place.top;
            // a triangle that stands on its point at the top
            let mark = format!(
                "M {:.1} {:.1} L {:.1} {:.1} L {x:.1} {:.1} Z",
                x - 3.0,
                top - 2.0,
                x + 3.0,
                top - 2.0,
                top + 3.5
            );
            scene.add(mark_of(mark));
        }
        for time_s in &self.drop_outs_s {
            let x = place.x(*time_s);
            let mark = format!(
                "M {x:.1} {:.1} L {x:.1} {:.1} M {:.1} {:.1} L {:.1} {:.1}",
                base - 6.0,
                base + 1.0,
                x - 2.5,
                base - 2.5,
                x + 2.5,
                base - 2.5
            );
            scene.add(mark_of(mark));
        }
    }

    /// Half of a point's stretch, seconds.
    fn half_s(&self, points: usize) -> f64 {
        self.stretch_s * (self.cells.len() as f64 / points.max(1) as f64) / 2.0
    }

    /// At most so many points, each the loudest and the mean of its stretches, at their middles.
    fn thinned(&self, most: usize) -> Vec<(f64, Loud)> {
        let step = self.cells.len().div_ceil(most).max(1);
        let groups = self.cells.chunks(step).enumerate();
        let point = |(place, cells): (usize, &[Loud])| {
            let count = cells.len() as f64;
            let loud = Loud {
                peak: cells.iter().map(|cell| cell.peak).fold(0.0, f64::max),
                mean_square: cells.iter().map(|cell| cell.mean_square).sum::<f64>() / count,
            };
            (((place * step) as f64 + count / 2.0) * self.stretch_s, loud)
        };
        groups.map(point).collect()
    }
}

fn path(d: String, filled: bool) -> Primitive {
    let ink: Color = if filled { "var(--broad)" } else { "var(--ink)" }.into();
    Primitive::Path(Box::new(PathData {
        d,
        fill: filled.then(|| ink.clone()),
        stroke: ink,
        stroke_width: if filled { 0.0 } else { 0.7 },
        opacity: None,
        stroke_dasharray: None,
    }))
}

fn mark_of(d: String) -> Primitive {
    Primitive::Path(Box::new(PathData {
        d,
        fill: None,
        stroke: "var(--second)".into(),
        stroke_width: 1.2,
        opacity: None,
        stroke_dasharray: None,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strips(names: &[(&str, &str)]) -> Strips {
        let strip = |(number, (unit, name)): (usize, &(&str, &str))| Strip {
            name: format!("{} {unit}: {name}", number + 1),
            short: format!("{} {name}", number + 1),
            unit: (*unit).into(),
            stretch_s: 1.0,
            cells: Vec::new(),
            clips_s: Vec::new(),
            drop_outs_s: Vec::new(),
        };
        Strips {
            id: "s".into(),
            length_s: 10.0,
            strips: names.iter().enumerate().map(strip).collect(),
        }
    }

    #[test]
    fn labels_are_whole_where_there_is_room_and_alike_in_one_picture() {
        let two = strips(&[("OAK", "Main left"), ("ELM", "Gallery right")]);
        let longest = "2 ELM: Gallery right".chars().count();
        assert_eq!(
            two.labels(longest),
            ["1 OAK: Main left", "2 ELM: Gallery right"]
        );
        assert_eq!(two.labels(longest - 1), ["1 Main left", "2 Gallery right"]);
        assert_eq!(two.labels(9), ["1 Main l…", "2 Galler…"]);
        assert_eq!(strips(&[("OAK", "")]).labels(1), ["…"]);
    }

    #[test]
    fn names_of_every_length_that_has_room_stand_whole() {
        for letters in 1..18 {
            let name = "n".repeat(letters);
            let scene = strips(&[("A", &name)]).scene(Size {
                width: 760.0,
                height: 100.0,
            });
            let whole = format!("1 A: {name}");
            let found = scene
                .elements
                .iter()
                .any(|one| matches!(one, Primitive::Text { content, .. } if *content == whole));
            assert!(found, "{whole}");
        }
    }
}
