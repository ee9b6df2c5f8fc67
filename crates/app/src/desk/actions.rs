//! Forms in, what they ask for done; then back to a page. Nothing else changes anything.

use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use engine::alignment::{Alignment, Basis, Decided, JointTake, Member};
use engine::establish::{ManualTie, NamedPair, NamedPosition, Options, align, measure_again};
use engine::finding::Finding;
use engine::first_roll::first_roll;
use engine::{Error, Kind};
use serde::Deserialize;

use super::forms::{Checked, given, number};
use super::job::Job;
use super::pages;
use super::state::{Came, Desk, Found};
use crate::cli::args::{FormatArg, ShapeArg, ShapeArgs, SpanArg};
use crate::cli::day::{Day, Declared, Work};

/// Back to a page, or to one that says why not.
fn to(desk: &Desk, page: &str, done: engine::Result<()>) -> Response {
    match done {
        Ok(()) => Redirect::to(page).into_response(),
        Err(error) => pages::refused(desk, &error.to_string(), page),
    }
}

/// Cards put on the desk or taken off it.
#[derive(Deserialize)]
pub struct CardsForm {
    #[serde(default)]
    add: String,
    #[serde(default)]
    remove: String,
}

/// Puts a card on the desk or takes one off it.
pub async fn cards(State(desk): State<Arc<Desk>>, Checked(form): Checked<CardsForm>) -> Response {
    let changed = (|| {
        let mut cards = desk.known().cards.clone();
        if let Some(add) = given(&form.add) {
            let card = PathBuf::from(add);
            if !card.is_absolute() || !card.exists() {
                return Err(Error::new(Kind::Usage, "there is no such folder")
                    .at(card)
                    .then("give the whole path of the card's folder"));
            }
            if !cards.contains(&card) {
                cards.push(card);
            }
        }
        cards.retain(|card| card.as_os_str() != form.remove.as_str());
        desk.set_cards(cards)
    })();
    to(&desk, "/", changed)
}

/// How to measure.
#[derive(Deserialize)]
pub struct MeasureForm {
    #[serde(default)]
    take: String,
    #[serde(default)]
    lead: String,
    #[serde(default)]
    spacing: String,
    #[serde(default)]
    common: String,
}

impl MeasureForm {
    fn options(&self) -> engine::Result<Options> {
        let spacing = match given(&self.spacing) {
            Some(text) => number(text).ok_or_else(|| {
                Error::new(Kind::Usage, format!("{text} is no distance"))
                    .then("give metres, 0 or more")
            })?,
            None => Options::default().spacing_m,
        };
        Ok(Options {
            lead: given(&self.lead).map(str::to_owned),
            spacing_m: spacing,
            common: self
                .common
                .split_whitespace()
                .map(NamedPair::parse)
                .collect::<engine::Result<_>>()?,
            ..Options::default()
        })
    }
}

/// The cards, or why nothing can be measured.
fn found(desk: &Desk) -> engine::Result<Found> {
    let known = desk.known();
    let found = known
        .found
        .clone()
        .filter(|found| found.survey.units.len() > 1);
    found.ok_or_else(|| {
        Error::new(
            Kind::Usage,
            "nothing can be measured without the cards of two or more units",
        )
        .then("put the cards on the desk first")
    })
}

/// Measures all of the day.
pub async fn measure(
    State(desk): State<Arc<Desk>>,
    Checked(form): Checked<MeasureForm>,
) -> Response {
    let started = form.options().and_then(|options| {
        let found = found(&desk)?;
        desk.start("measuring the day", move |desk, job| {
            let what = "measuring the day";
            let measured = align(&found.survey, &options, job)
                .and_then(|alignment| desk.replace(alignment, found.findings.clone()));
            match measured {
                Ok(()) => came(
                    what,
                    "measured; it stands in the alignment file",
                    Vec::new(),
                ),
                Err(error) => Came::failed(what, &error),
            }
        })
    });
    to(&desk, "/day", started)
}

/// Measures one joint take anew.
pub async fn again(State(desk): State<Arc<Desk>>, Checked(form): Checked<MeasureForm>) -> Response {
    let page = pages::take_address(&form.take);
    let started = form.options().and_then(|options| {
        let joint = joint(&desk, &form.take)?;
        let ties = joint
            .members
            .iter()
            .filter_map(|member| tie_of(&joint, member));
        let options = Options {
            ties: ties.collect(),
            ..options
        };
        one_again(&desk, joint, options)
    });
    to(&desk, &page, started)
}

/// The same instant on both, by a person's word.
#[derive(Deserialize)]
pub struct TieForm {
    take: String,
    follower: String,
    #[serde(rename = "lead-position")]
    lead_position: String,
    #[serde(rename = "follower-position")]
    follower_position: String,
    #[serde(default)]
    reason: String,
}

/// Measures a joint take anew with a tie by hand.
pub async fn tie(State(desk): State<Arc<Desk>>, Checked(form): Checked<TieForm>) -> Response {
    let page = pages::take_address(&form.take);
    let started = (|| {
        let position = |text: &str, unit: &str| {
            let position = number(text).filter(|position| *position >= 0.0);
            position.ok_or_else(|| {
                Error::new(Kind::Usage, format!("no instant is marked on {unit}"))
                    .then("mark the same instant on both, or type its sample positions")
            })
        };
        let joint = joint(&desk, &form.take)?;
        let new = ManualTie {
            a: NamedPosition {
                position: position(&form.lead_position, &joint.lead)?,
                unit: joint.lead.clone(),
            },
            b: NamedPosition {
                position: position(&form.follower_position, &form.follower)?,
                unit: form.follower.clone(),
            },
            reason: form.reason.trim().to_string(),
        };
        let others = joint
            .members
            .iter()
            .filter(|member| member.unit != form.follower);
        let mut ties: Vec<ManualTie> = others.filter_map(|member| tie_of(&joint, member)).collect();
        ties.push(new);
        let options = Options {
            lead: Some(joint.lead.clone()),
            ties,
            ..Options::default()
        };
        one_again(&desk, joint, options)
    })();
    to(&desk, &page, started)
}

fn one_again(desk: &Arc<Desk>, joint: JointTake, options: Options) -> engine::Result<()> {
    let found = found(desk)?;
    let what = format!("measuring {}", joint.name);
    desk.start(&what.clone(), move |desk, job| {
        let measured = measure_again(&found.survey, &joint, &options, job).and_then(|new| {
            desk.edit(|alignment| {
                *alignment.joint_take_mut(&joint.name)? = new;
                Ok(())
            })
        });
        match measured {
            Ok(()) => came(
                &what,
                "measured anew; it stands in the alignment file",
                Vec::new(),
            ),
            Err(error) => Came::failed(&what, &error),
        }
    })
}

/// The tie that a member was placed by, if it was one by hand.
fn tie_of(joint: &JointTake, member: &Member) -> Option<ManualTie> {
    let inside = |[own, lead]: &&[f64; 2]| {
        (0.0..member.length_samples as f64).contains(own)
            && (0.0..joint.length_samples as f64).contains(lead)
    };
    let [own, lead] = (member.basis == Basis::Manual)
        .then(|| member.knots.iter().find(inside))
        .flatten()?;
    let position = |unit: &str, position: f64| NamedPosition {
        unit: unit.into(),
        position,
    };
    Some(ManualTie {
        a: position(&joint.lead, *lead),
        b: position(&member.unit, *own),
        reason: "kept from an earlier tie".into(),
    })
}

fn joint(desk: &Desk, name: &str) -> engine::Result<JointTake> {
    Ok(desk.alignment()?.joint_take(name)?.clone())
}

/// A decision about a follower.
#[derive(Deserialize)]
pub struct DecideForm {
    take: String,
    unit: String,
    what: String,
    #[serde(default)]
    reason: String,
}

/// Writes a decision into the alignment.
pub async fn decide(State(desk): State<Arc<Desk>>, Checked(form): Checked<DecideForm>) -> Response {
    let decided = match form.what.as_str() {
        "accept" => Some(Decided::Accepted),
        "leave-out" => Some(Decided::LeftOut),
        _ => None,
    };
    let decided = decided.map(|what| (what, form.reason.trim().to_string()));
    let page = pages::take_address(&form.take);
    let done = desk.edit(|alignment| alignment.decide(&form.take, &form.unit, decided));
    to(&desk, &page, done)
}

/// How to build.
#[derive(Deserialize)]
pub struct BuildForm {
    #[serde(default)]
    shape: String,
    #[serde(default)]
    format: String,
    #[serde(default)]
    span: String,
    #[serde(default)]
    replace: String,
}

impl BuildForm {
    fn args(&self, desk: &Desk) -> ShapeArgs {
        ShapeArgs {
            session: pages::prep::is_kept(desk).then(|| pages::prep::kept(desk)),
            shape: match self.shape.as_str() {
                "per-unit" => ShapeArg::PerUnit,
                "mono" => ShapeArg::Mono,
                _ => ShapeArg::Poly,
            },
            format: match self.format.as_str() {
                "float32" => FormatArg::Float32,
                "int24" => FormatArg::Int24,
                _ => FormatArg::Source,
            },
            span: match self.span.as_str() {
                "common" => SpanArg::Common,
                "longest" => SpanArg::Longest,
                _ => SpanArg::Lead,
            },
            replace: self.replace == "yes",
            ..ShapeArgs::default()
        }
    }
}

/// Builds what the alignment says.
pub async fn build(State(desk): State<Arc<Desk>>, Checked(form): Checked<BuildForm>) -> Response {
    let started = (|| {
        let alignment = Alignment::clone(&*desk.alignment()?);
        let (cards, findings) = {
            let known = desk.known();
            (known.cards.clone(), known.findings.clone())
        };
        let day = Day {
            alignment,
            findings,
        };
        let args = form.args(&desk);
        desk.start("building", move |desk, job| {
            built(desk, job, &day, &args, &cards)
        })
    })();
    to(&desk, "/build", started)
}

fn built(desk: &Desk, job: &Job, day: &Day, args: &ShapeArgs, cards: &[PathBuf]) -> Came {
    let what = "building";
    let declared = match Declared::read(args) {
        Ok(declared) => declared,
        Err(error) => return Came::failed(what, &error),
    };
    let work = Work {
        cards,
        declared: &declared,
        progress: job,
    };
    match day.build_beside(&desk.out, args, work) {
        Ok(built) => {
            let unbuilt = built.report.unbuilt.len();
            let takes = day.alignment.joint_takes.len();
            let words = match unbuilt {
                0 => "every joint take is built, read back and equal".to_string(),
                _ => format!(
                    "{} of {takes} joint takes are built; the others stand below",
                    takes - unbuilt
                ),
            };
            Came {
                well: unbuilt == 0,
                ..came(what, &words, built.findings)
            }
        }
        Err(error) => Came {
            what: what.into(),
            words: format!("{error:#}"),
            well: false,
            findings: Vec::new(),
        },
    }
}

/// Judges the last take of every unit.
pub async fn roll(State(desk): State<Arc<Desk>>, Checked(_): Checked<Nothing>) -> Response {
    let what = "judging the first roll";
    let started = found(&desk).and_then(|found| {
        desk.start(what, move |desk, job| {
            match first_roll(&found.survey, &Options::default(), job) {
                Ok(roll) => {
                    let words = roll.verdict.clone();
                    desk.change().roll = Some(roll);
                    came(what, &words, Vec::new())
                }
                Err(error) => Came::failed(what, &error),
            }
        })
    });
    to(&desk, "/first-roll", started)
}

/// Asks what runs to stop.
pub async fn stop(State(desk): State<Arc<Desk>>, Checked(_): Checked<Nothing>) -> Response {
    if let Some(job) = desk.job() {
        job.stop();
    }
    Redirect::to("/day").into_response()
}

/// A form without fields of its own.
#[derive(Deserialize)]
pub struct Nothing {}

fn came(what: &str, words: &str, findings: Vec<Finding>) -> Came {
    Came {
        what: what.into(),
        words: words.into(),
        well: true,
        findings,
    }
}
