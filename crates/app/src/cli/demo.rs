//! `demo`: nothing in; a rehearsal shoot, the main job on it, and found against true out.

use anyhow::{Context, Result};
use comfy_table::{Table, presets};
use engine::alignment::Member;
use engine::progress::Progress;
use engine::{Error, Kind};
use rehearsal::scenes::demo;
use rehearsal::{Comparison, Truth, write_shoots};

use super::args::{DemoArgs, MeasureArgs, ResampleArg, ShapeArgs};
use super::day::{Day, Declared, Work, tell_findings};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Plays the demo.
pub fn run(args: &DemoArgs, json: bool) -> Result<Ended> {
    if args.out.exists() {
        return Err(Error::new(Kind::Refused, "exists already")
            .at(&args.out)
            .then("remove it, or choose another folder with --out")
            .into());
    }
    let demo = demo();
    let cards = args.out.join("cards");
    let joined = args.out.join("joined");
    say::aside(format!(
        "{} at {}: {} takes on two units, every clock and distance known by construction",
        demo.ensemble,
        demo.place,
        demo.shoots.len()
    ));
    let watch = Watch::new();
    watch.stage("rehearsing the shoot", 1000);
    let mut told = 0;
    let truths = write_shoots(&demo.shoots, &cards, |share| {
        let now = (share * 1000.0) as u64;
        watch.advance(now.saturating_sub(told));
        told = now.max(told);
    })
    .context("the rehearsal shoot could not be made")?;
    let units = ["OAK", "ELM"].map(|unit| cards.join(unit));
    let day = Day::measure(&units, &measure(), &watch)?;
    let built = day.build(
        &joined,
        &ShapeArgs::default(),
        Work {
            cards: &units,
            declared: &Declared::read(&ShapeArgs::default())?,
            progress: &watch,
        },
    )?;
    watch.finish();
    let mut findings = day.all_findings();
    findings.extend(built.findings.iter().cloned());
    tell_findings(&findings);
    let rows = compare(&day, &truths);
    let right = rows.iter().all(Row::is_right) && !rows.is_empty();
    if json {
        let rows: Vec<_> = rows.iter().map(Row::json).collect();
        say::json(&serde_json::json!({ "alignment": day.alignment, "found_against_true": rows }))?;
    } else {
        say::line(day.summary());
        say::line(table(&rows).to_string());
        say::line(String::new());
        built.tell(&joined);
        say::line(format!("open {}", joined.join("*.report.html").display()));
    }
    Ok(built.ended(&day).max(if right {
        Ended::Done
    } else {
        Ended::Unverified
    }))
}

fn measure() -> MeasureArgs {
    MeasureArgs {
        calibration: None,
        lead: Some("OAK".into()),
        common: Vec::new(),
        spacing: 10.0,
        tie: Vec::new(),
        resample: ResampleArg::Auto,
    }
}

/// One follower of one joint take, found against true.
struct Row<'a> {
    joint_take: &'a str,
    member: &'a Member,
    true_offset: f64,
    true_rate: f64,
    off: Comparison,
}

impl Row<'_> {
    /// Whether the truth lies within what was claimed: the offset within its bound, the rate within 0.05 ppm.
    fn is_right(&self) -> bool {
        self.off.offset_error.abs() <= self.member.offset_bound_samples
            && self.off.rate_error_ppm.abs() <= 0.05
    }

    fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "joint_take": self.joint_take,
            "unit": self.member.unit,
            "offset_samples": { "found": self.member.offset_samples, "true": self.true_offset },
            "rate_ppm": { "found": self.member.rate_ppm, "true": self.true_rate },
            "clock_error_samples": { "rms": self.off.rms, "max": self.off.max,
                "rms_about_mean": self.off.rms_about_mean },
            "within_claim": self.is_right(),
        })
    }
}

fn compare<'a>(day: &'a Day, truths: &[Truth]) -> Vec<Row<'a>> {
    let mut rows = Vec::new();
    for take in &day.alignment.joint_takes {
        let truth = truths
            .iter()
            .find(|truth| take.name.contains(&truth.shoot.name));
        for member in take
            .members
            .iter()
            .filter(|member| member.unit != take.lead)
        {
            let Some(truth) = truth else { continue };
            let Some(unit) = truth.unit(&member.unit) else {
                continue;
            };
            let Some(clock) = member.clock() else {
                continue;
            };
            let off = truth.compare(&member.unit, |k| clock.lead_at(engine::units::UnitPos(k)).0);
            rows.extend(off.map(|off| Row {
                joint_take: &take.name,
                member,
                true_offset: unit.offset_samples,
                true_rate: unit.rate_ppm,
                off,
            }));
        }
    }
    rows
}

fn table(rows: &[Row<'_>]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header([
        "found against true",
        "offset found",
        "true",
        "claim ±",
        "rate found",
        "true",
        "clock off, rms",
        "max",
        "about mean",
        "within claim",
    ]);
    for row in rows {
        table.add_row([
            format!("{} {}", row.joint_take, row.member.unit),
            format!("{:.3}", row.member.offset_samples),
            format!("{:.3}", row.true_offset),
            format!("{:.2} samples", row.member.offset_bound_samples),
            format!("{:+.4} ppm", row.member.rate_ppm),
            format!("{:+.4}", row.true_rate),
            format!("{:.4} samples", row.off.rms),
            format!("{:.4}", row.off.max),
            format!("{:.4}", row.off.rms_about_mean),
            if row.is_right() { "yes" } else { "NO" }.to_string(),
        ]);
    }
    table
}
