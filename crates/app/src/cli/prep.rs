//! `prep`: a session file in, what should be known before the shoot out, as text or as sheets to print.

use anyhow::Result;
use engine::deliver::{SESSION_PAPERS, session_papers};
use engine::history::History;
use engine::output::{Replace, refuse_existing, write_text};
use engine::prep::{EXAMPLE, Prep, prepare};
use engine::report::typed;
use engine::units::capital;

use super::args::PrepArgs;
use super::day::{faces_of, history_of, session_of};
use super::exit::Ended;
use super::say;

/// Works the session out, or writes one to begin with.
pub fn run(args: &PrepArgs, json: bool) -> Result<Ended> {
    let replace = Replace::from(args.papers.replace);
    if args.new {
        write_text(&args.session, EXAMPLE, replace)?;
        match json {
            true => say::json(&serde_json::json!({ "session": args.session }))?,
            false => say::line(format!(
                "{}: a session to begin with; change it, then `commontime prep {}`",
                args.session.display(),
                args.session.display()
            )),
        }
        return Ok(Ended::Done);
    }
    let session = session_of(&args.session)?;
    let history = match &args.history {
        Some(path) => history_of(path)?,
        None => History::default(),
    };
    let prep = prepare(&session, &history).map_err(|error| error.at(&args.session))?;
    match &args.out {
        Some(out) => {
            let faces = faces_of(&args.papers.font)?;
            for name in SESSION_PAPERS {
                refuse_existing(&out.join(name), replace)?;
            }
            for paper in session_papers(&prep, &faces)? {
                paper.write(out, replace)?;
            }
            say::findings(&prep.findings);
            match json {
                true => say::json(&prep)?,
                false => tell(&prep, out),
            }
        }
        None if json => say::json(&prep)?,
        None => say::line(typed(&prep.document()).trim_end()),
    }
    Ok(Ended::by_findings(&prep.findings))
}

fn tell(prep: &Prep, out: &std::path::Path) {
    say::line(format!("{}.", capital(&prep.verdict)));
    say::line(format!(
        "wrote in {}: {}",
        out.display(),
        SESSION_PAPERS.join(", ")
    ));
}
