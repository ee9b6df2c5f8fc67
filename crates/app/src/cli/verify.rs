//! `verify`: folders of copies in; what is missing, extra, changed or renamed by their hash lists out.

use anyhow::Result;
use engine::finding::Finding;
use engine::offload::{Scope, verify};
use engine::units::counted;

use super::args::VerifyArgs;
use super::exit::Ended;
use super::offload::read_back;
use super::say;
use super::watch::Watch;

/// Verifies copies.
pub fn run(args: &VerifyArgs, json: bool) -> Result<Ended> {
    let watch = Watch::new();
    let mut all = Vec::new();
    let mut failed = None;
    for folder in &args.folders {
        match verify(folder, &watch) {
            Ok(done) => all.push(done),
            // the others are verified all the same
            Err(error) => {
                failed.get_or_insert(error);
            }
        }
    }
    watch.finish();
    let findings: Vec<Finding> = all.iter().flat_map(|done| done.findings.clone()).collect();
    say::findings(&findings);
    let scopes: Vec<&Scope> = all.iter().flat_map(|done| &done.scopes).collect();
    if json {
        say::json(&serde_json::json!({ "scopes": scopes, "findings": findings }))?;
    } else {
        scopes.into_iter().for_each(tell);
    }
    if let Some(error) = failed {
        return Err(error.into());
    }
    let ended = all
        .iter()
        .map(|done| Ended::of(&done.findings, done.failed))
        .max();
    Ok(ended.unwrap_or(Ended::Done))
}

fn tell(scope: &Scope) {
    let how = scope
        .read_back
        .map_or(String::new(), |how| format!(", read {}", read_back(how)));
    say::line(format!(
        "{}  {} of {} as listed, {}{how}; {}",
        scope.folder.display(),
        scope.equal,
        counted(scope.listed, "file"),
        say::bytes(scope.bytes),
        counted(scope.generations, "hash list"),
    ));
    for (word, number) in [
        ("missing", scope.missing.len()),
        ("changed", scope.changed.len()),
        ("renamed", scope.renamed.len()),
        ("extra", scope.extra.len()),
        ("unreadable", scope.unreadable.len()),
    ] {
        if number > 0 {
            say::line(format!("  {word:<10}  {number}"));
        }
    }
}
