//! The sync report in, one paper for people out: a table of all followers first, then a part a recording.

use super::{SyncReport, SyncedFollower, SyncedTake};
use crate::alignment::Status;
use crate::report::axis::{Axis, Scale, axis_around};
use crate::report::document::{Block, Cell, Document, Entry, Fact, Table};
use crate::report::plots::{Figure, Mark};
use crate::report::say;
use crate::units::{counted, distinct, signed};

impl SyncReport {
    /// The report for people; `page_of` says where a joint take's own page is, if there is one.
    #[must_use]
    pub fn document(&self, page_of: &dyn Fn(&str) -> Option<String>) -> Document {
        let dates = distinct(self.takes.iter().map(|take| take.date.clone()));
        let dates: Vec<String> = dates.into_iter().filter(|date| !date.is_empty()).collect();
        let mut entries = vec![Entry::new(
            "All followers",
            vec![Block::Table(self.followers(page_of))],
        )];
        for (number, take) in self.takes.iter().enumerate() {
            entries.push(Entry::new(&take.name, blocks_of(take, number)));
        }
        entries.push(Entry::new("How to read it", vec![Block::Words(
                "Offset: the lead's position at which the follower's first sample falls; positive when the follower began \
                 later. Rate: positive when the follower's clock ran fast, so that it wrote more samples. Plus or minus: \
                 what may be claimed because of what the place rests on. Sigma: one standard deviation of the measurement. \
                 Lag: how many more samples the follower has counted than the lead."
                    .into(),
            )]));
        Document {
            kind: "Sync report: how every unit came to its place, and how good that is".into(),
            title: match dates.as_slice() {
                [] => "Sync report".into(),
                dates => format!("Sync report, {}", dates.join(", ")),
            },
            made_by: self.made_by.clone(),
            facts: Vec::new(),
            verdict: self.verdict(),
            entries,
            broad: false,
        }
    }

    fn verdict(&self) -> String {
        let followers = || self.takes.iter().flat_map(|take| &take.followers);
        let placed = followers().filter(|one| one.status == Status::Established);
        let (all, placed) = (followers().count(), placed.count());
        let open = match all - placed {
            0 => "all are in their places".into(),
            open => format!("{placed} in their places, {open} not established or to be decided"),
        };
        format!(
            "{} of followers in {}: {open}.",
            counted(all, "take"),
            counted(self.takes.len(), "recording")
        )
    }

    fn followers(&self, page_of: &dyn Fn(&str) -> Option<String>) -> Table {
        let mut rows = Vec::new();
        for take in &self.takes {
            let rate = f64::from(take.sample_rate.max(1));
            for follower in &take.followers {
                let good_to = follower.offset.map_or("–".into(), |offset| {
                    format!("±{}", say::short_time(offset.bound_samples / rate))
                });
                rows.push(vec![
                    Cell {
                        href: page_of(&take.name),
                        ..Cell::from(&take.name)
                    },
                    Cell::from(&follower.unit),
                    say::basis(follower.basis).into(),
                    good_to.into(),
                    rate_short(follower).into(),
                    worst_residual(follower).into(),
                    placed_words(follower).into(),
                ]);
            }
        }
        Table {
            caption: "Against the lead".into(),
            headings: vec![
                "Recording",
                "Unit",
                "Rests on",
                "Good to",
                "Rate, ppm",
                "Residual, samples",
                "Samples",
            ],
            rows,
        }
    }
}

fn rate_short(follower: &SyncedFollower) -> String {
    follower.rate.map_or("not measured".into(), |rate| {
        signed(rate.ppm, say::decimals_for(rate.sigma_ppm).min(4) as u8)
    })
}

fn worst_residual(follower: &SyncedFollower) -> String {
    let lags = follower.residuals.iter().map(|one| one.lag_samples);
    let worst = lags.max_by(|a, b| a.abs().total_cmp(&b.abs()));
    worst.map_or("–".into(), |lag| signed(lag, 4))
}

fn placed_words(follower: &SyncedFollower) -> String {
    say::came_as_of_name(&follower.came_as).into()
}

fn blocks_of(take: &SyncedTake, number: usize) -> Vec<Block> {
    let mut blocks = vec![
        Block::Claim(take.in_words.clone()),
        Block::Facts(vec![
            (
                "Lead",
                match take.lead_rule.as_str() {
                    "" => take.lead.clone(),
                    rule => format!("{} (by rule: {rule})", take.lead),
                },
            ),
            ("Files", take.files.join(", ")),
        ]),
    ];
    for (place, follower) in take.followers.iter().enumerate() {
        let heading = format!("{} on {}'s clock", follower.unit, take.lead);
        blocks.push(Block::Heading(heading));
        blocks.push(Block::Facts(facts_of(follower, take)));
        if follower.curve.len() > 1 {
            let id = format!("curve{number}-{place}");
            blocks.push(curve(follower, id));
        }
        if !follower.residuals.is_empty() {
            blocks.push(Block::Table(residuals(follower, take)));
        }
    }
    blocks
}

fn facts_of(follower: &SyncedFollower, take: &SyncedTake) -> Vec<Fact> {
    let rate = f64::from(take.sample_rate.max(1));
    let offset = follower.offset.map_or(String::new(), |offset| {
        format!(
            "{} = {} (sigma {} samples, {})",
            say::samples(offset.samples, offset.sigma_samples),
            say::clock_time(offset.samples / rate),
            say::three_figures(offset.sigma_samples),
            say::plus_minus_samples(offset.bound_samples)
        )
    });
    let clock = follower.rate.map_or("not measured".into(), |clock| {
        format!(
            "{}, {:+.1} samples over the take",
            say::ppm(clock.ppm, clock.sigma_ppm),
            clock.over_take_samples
        )
    });
    let ties = match follower.ties.found {
        0 => String::new(),
        found => format!(
            "{} used of {}, scatter {} samples rms",
            follower.ties.used,
            counted(found, "tie"),
            say::three_figures(follower.ties.scatter_samples)
        ),
    };
    let rings = follower.closures.iter().map(|ring| {
        format!(
            "{}: {} (limit {}), {}",
            ring.ring,
            signed(ring.value, 4),
            say::three_figures(ring.limit),
            if ring.closes {
                "closes"
            } else {
                "does not close"
            }
        )
    });
    let slips = follower.slips.iter().map(|slip| {
        let what = if slip.samples < 0.0 {
            "missing"
        } else {
            "too many"
        };
        format!(
            "{:.0} {what} at its sample {} ({})",
            slip.samples.abs(),
            slip.at_sample,
            say::clock_time(slip.at_sample as f64 / rate)
        )
    });
    let level = follower.common_level.as_ref().map(|level| {
        let polarity = if level.inverted {
            "inverted"
        } else {
            "same polarity"
        };
        format!(
            "{} dB against {}, {polarity}",
            signed(level.level_db, 2),
            level.against
        )
    });
    let worst = follower.worst_s.map(|worst| {
        format!(
            "±{} = ±{} samples",
            say::short_time(worst),
            say::three_figures(worst * rate)
        )
    });
    vec![
        ("Take", follower.take.clone()),
        (
            "Rests on",
            format!(
                "{}: {}{}",
                say::basis(follower.basis),
                say::rests_on(follower.basis),
                match follower.through.as_str() {
                    "" => String::new(),
                    unit => format!(", through {unit}"),
                }
            ),
        ),
        ("Claim", follower.claim.clone()),
        ("Offset", offset),
        ("Rate", clock),
        ("Ties", ties),
        ("Closure", rings.collect::<Vec<_>>().join("; ")),
        ("Slips", slips.collect::<Vec<_>>().join("; ")),
        ("Level", level.unwrap_or_default()),
        ("Samples", placed_words(follower)),
        ("At worst", worst.unwrap_or_default()),
        ("Good enough for", follower.good_for.join("; ")),
        ("Not for", follower.not_good_for.join("; ")),
    ]
}

fn residuals(follower: &SyncedFollower, take: &SyncedTake) -> Table {
    let rate = f64::from(take.sample_rate.max(1));
    let rows = follower.residuals.iter().map(|one| {
        vec![
            Cell::from(&one.place),
            say::clock_time(one.position / rate).into(),
            signed(one.lag_samples, 5).into(),
            signed(1e6 * one.lag_samples / rate, 4).into(),
            say::three_figures(one.sigma_samples).into(),
        ]
    });
    Table {
        caption: format!(
            "{} behind the lead, measured on the finished files",
            follower.unit
        ),
        headings: vec!["Place", "At", "Lag, samples", "Lag, µs", "Sigma, samples"],
        rows: rows.collect(),
    }
}

/// The clock's wander with its band.
fn curve(follower: &SyncedFollower, id: String) -> Block {
    let band: Vec<(f64, f64, f64)> = follower
        .curve
        .iter()
        .map(|[at, _, wander, sigma]| (*at, wander - 2.0 * sigma, wander + 2.0 * sigma))
        .collect();
    let ends = || band.iter().flat_map(|(_, low, high)| [*low, *high]);
    let (first, last) = (band.first(), band.last());
    let (least, greatest) = (first.map_or(0.0, |p| p.0), last.map_or(1.0, |p| p.0));
    let figure = Figure {
        id,
        title: format!("Lag of {} with its mean rate taken away", follower.unit),
        description: "The clock's wander against time with a band of two sigma.".into(),
        across: Axis {
            label: "time since the lead's first sample".into(),
            least,
            greatest: greatest.max(least + 1e-3),
            scale: Scale::Time,
        },
        up: axis_around(ends(), "samples"),
        marks: vec![
            Mark::Band(band.clone()),
            Mark::Line(
                follower
                    .curve
                    .iter()
                    .map(|point| (point[0], point[2]))
                    .collect(),
            ),
        ],
    };
    let mean = follower.rate.map_or("its mean rate".into(), |rate| {
        format!("its mean rate of {} ppm", signed(rate.ppm, 3))
    });
    Block::Picture(
        figure.into(),
        format!(
            "How {}'s clock wandered about {mean}; the band is two sigma of the measurement.",
            follower.unit
        ),
    )
}
