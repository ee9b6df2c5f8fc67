//! The sync report in, the same as a table out: one row a follower.

use serde::Serialize;

use super::{SyncReport, SyncedFollower, SyncedTake};
use crate::alignment::Status;
use crate::error::Result;
use crate::output::report_table;
use crate::report::say;

/// One row. Empty means not known or not applicable.
#[derive(Debug, Serialize)]
struct Row<'a> {
    joint_take: &'a str,
    date: &'a str,
    start_label: &'a str,
    sample_rate: u32,
    lead: &'a str,
    follower: &'a str,
    take: &'a str,
    basis: &'a str,
    status: &'static str,
    offset_samples: Option<f64>,
    offset_sigma_samples: Option<f64>,
    offset_bound_samples: Option<f64>,
    rate_ppm: Option<f64>,
    rate_sigma_ppm: Option<f64>,
    lag_over_take_samples: Option<f64>,
    placement: &'a str,
    slips: usize,
    ties_used: usize,
    ties_found: usize,
    tie_scatter_samples: Option<f64>,
    residual_start_samples: Option<f64>,
    residual_middle_samples: Option<f64>,
    residual_end_samples: Option<f64>,
    closure: String,
    worst_us: Option<f64>,
}

/// The columns, in order; the header stands even when there is no row.
const COLUMNS: [&str; 25] = [
    "joint_take",
    "date",
    "start_label",
    "sample_rate",
    "lead",
    "follower",
    "take",
    "basis",
    "status",
    "offset_samples",
    "offset_sigma_samples",
    "offset_bound_samples",
    "rate_ppm",
    "rate_sigma_ppm",
    "lag_over_take_samples",
    "placement",
    "slips",
    "ties_used",
    "ties_found",
    "tie_scatter_samples",
    "residual_start_samples",
    "residual_middle_samples",
    "residual_end_samples",
    "closure",
    "worst_us",
];

impl SyncReport {
    /// The report as a table. Numbers have a decimal point and no grouping; rings are separated by `; `.
    ///
    /// # Errors
    /// When the table cannot be written to memory.
    pub fn to_csv(&self) -> Result<String> {
        let rows = self.takes.iter().flat_map(|take| {
            let followers = take.followers.iter();
            followers.map(move |follower| row(take, follower))
        });
        report_table(&COLUMNS, rows)
    }
}

fn row<'a>(take: &'a SyncedTake, follower: &'a SyncedFollower) -> Row<'a> {
    let (offset, rate) = (follower.offset, follower.rate);
    let residual = |place: &str| {
        let mut found = follower.residuals.iter();
        let found = found.find(|one| one.place == place)?;
        Some(short(found.lag_samples))
    };
    let rings = follower.closures.iter();
    let rings = rings.map(|ring| format!("{:+.4} (limit {:.4})", ring.value, ring.limit));
    Row {
        joint_take: &take.name,
        date: &take.date,
        start_label: &take.start_label,
        sample_rate: take.sample_rate,
        lead: &take.lead,
        follower: &follower.unit,
        take: &follower.take,
        basis: say::basis(follower.basis),
        status: match follower.status {
            Status::Established => "established",
            Status::NeedsDecision => "needs-decision",
            Status::NotEstablished => "not-established",
        },
        offset_samples: offset.map(|offset| short(offset.samples)),
        offset_sigma_samples: offset.map(|offset| short(offset.sigma_samples)),
        offset_bound_samples: offset.map(|offset| short(offset.bound_samples)),
        rate_ppm: rate.map(|rate| short(rate.ppm)),
        rate_sigma_ppm: rate.map(|rate| short(rate.sigma_ppm)),
        lag_over_take_samples: rate.map(|rate| short(rate.over_take_samples)),
        placement: &follower.came_as,
        slips: follower.slips.len(),
        ties_used: follower.ties.used,
        ties_found: follower.ties.found,
        tie_scatter_samples: (follower.ties.used > 0).then(|| short(follower.ties.scatter_samples)),
        residual_start_samples: residual("start"),
        residual_middle_samples: residual("middle"),
        residual_end_samples: residual("end"),
        closure: rings.collect::<Vec<_>>().join("; "),
        worst_us: follower.worst_s.map(|worst| short(1e6 * worst)),
    }
}

/// A hundred-thousandth is beyond what anything here is good to.
fn short(value: f64) -> f64 {
    (value * 1e5).round() / 1e5
}
