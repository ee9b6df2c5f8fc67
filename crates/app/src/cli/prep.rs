//! `prep`: a session file in, what should be known before the shoot out, as text or as sheets to print.

use anyhow::Result;
use engine::deliver::{SESSION_PAPERS, session_papers};
use engine::history::History;
use engine::output::{Replace, refuse_existing, write_bytes, write_text};
use engine::prep::{EXAMPLE, Prep, prepare};
use engine::report::typed;
use engine::units::capital;

use super::args::PrepArgs;
use super::day::{faces_of, session_of, text_of};
use super::exit::Ended;
use super::say;

/// Works the session out, or writes one to begin with.
pub fn run(args: &PrepArgs, json: bool) -> Result<Ended> {
    let replace = Replace::from(args.replace);
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
        Some(path) => History::from_toml(&text_of(path)?).map_err(|error| error.at(path))?,
        None => History::default(),
    };
    let prep = prepare(&session, &history).map_err(|error| error.at(&args.session))?;
    match &args.out {
        Some(out) => {
            let faces = faces_of(&args.font)?;
            for name in SESSION_PAPERS {
                refuse_existing(&out.join(name), replace)?;
            }
            for paper in session_papers(&prep, &faces)? {
                write_bytes(&out.join(&paper.name), &paper.bytes, replace)?;
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
