//! `rehearse`: a level and a seed in, a practice shoot out; answers in, marks out.

use anyhow::{Context, Result};
use engine::progress::Progress;
use engine::{Error, Kind};
use rehearsal::practice::{FORM, Mark, Marks, SEALED, SHEET, Verdict, make, mark};

use super::args::{RehearseCommand, RehearseMakeArgs, RehearseMarkArgs};
use super::exit::Ended;
use super::say;
use super::watch::Watch;

/// Makes or marks.
pub fn run(command: &RehearseCommand, json: bool) -> Result<Ended> {
    match command {
        RehearseCommand::Make(args) => written(args, json),
        RehearseCommand::Mark(args) => marked(args, json),
    }
}

fn written(args: &RehearseMakeArgs, json: bool) -> Result<Ended> {
    if args.out.exists() {
        return Err(Error::new(Kind::Refused, "exists already")
            .at(&args.out)
            .then("choose another folder with --out")
            .into());
    }
    let kind = match args.kind {
        Some(kind) => kind.kind(),
        None => args.level.level().drawn(args.seed),
    };
    let watch = Watch::new();
    watch.stage("rehearsing the shoot", 1000);
    let mut told = 0;
    let key = make(&args.out, kind, args.seed, |share| {
        let now = (share * 1000.0) as u64;
        watch.advance(now.saturating_sub(told));
        told = now.max(told);
    })
    .context("the practice shoot could not be made")?;
    watch.finish();
    let cards: Vec<_> = key
        .takes
        .first()
        .into_iter()
        .flat_map(|take| &take.units)
        .map(|unit| args.out.join(rehearsal::practice::CARDS).join(&unit.name))
        .collect();
    if json {
        say::json(&serde_json::json!({
            "folder": args.out,
            "cards": cards,
            "questions": args.out.join(SHEET),
            "form": args.out.join(FORM),
            "sealed": args.out.join(SEALED),
            "seed": args.seed,
        }))?;
        return Ok(Ended::Done);
    }
    let shown: Vec<String> = cards
        .iter()
        .map(|card| card.display().to_string())
        .collect();
    say::line(format!("cards: {}", shown.join(" ")));
    say::line(format!("questions: {}", args.out.join(SHEET).display()));
    say::line(format!(
        "fill in {}, then: commontime rehearse mark {}",
        args.out.join(FORM).display(),
        args.out.display()
    ));
    Ok(Ended::Done)
}

fn marked(args: &RehearseMarkArgs, json: bool) -> Result<Ended> {
    let answer = match &args.answer {
        Some(answer) => answer.clone(),
        None => args.folder.join(FORM),
    };
    let marks = mark(&args.folder, &answer).context("the answers could not be marked")?;
    if json {
        say::json(&marks)?;
    } else {
        tell(&marks);
    }
    Ok(Ended::Done)
}

fn tell(marks: &Marks) {
    say::line(format!("What happened: {}.", marks.kind.story()));
    let mut table = say::plain_table();
    table.set_header(["take", "asked", "found", "said", "truth"]);
    for mark in &marks.marks {
        table.add_row([
            mark.take.as_str(),
            mark.asked.as_str(),
            mark.verdict.word(),
            mark.said.as_str(),
            mark.truth.as_str(),
        ]);
    }
    say::line(table.to_string());
    for mark in marks.marks.iter().filter(|mark| wants_a_word(mark)) {
        say::line(format!("{} {}: {}.", mark.take, mark.asked, mark.why));
    }
    let of = |verdict| marks.count(verdict);
    say::line(format!(
        "{} of {} points: {} right, {} near, {} wrong (-2 each), {} not known, {} empty",
        marks.points,
        marks.most,
        of(Verdict::Right),
        of(Verdict::Near),
        of(Verdict::Wrong),
        of(Verdict::NotKnown),
        of(Verdict::Empty)
    ));
}

/// Of what is right without more to say nothing is said again, unless nothing could be established.
fn wants_a_word(mark: &Mark) -> bool {
    mark.verdict != Verdict::Right || mark.truth == "not established"
}
