//! Units, sources and groups in, which source goes into which input out. Groups are kept on one unit where they fit, the most
//! demanding first; every way is tried, up to a bound.

use super::rig::{CommonPlan, RigUnit, Source};
use super::{Class, PlannedGroup};

/// How many steps are tried before the best so far is taken.
const MOST_STEPS: u32 = 200_000;

/// What a source without an input costs; more than any group across units.
const UNPLACED: u64 = 1_000_000_000;

/// Which source goes into which input.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    /// A unit each, an entry an input.
    pub inputs: Vec<Vec<Wired>>,
    /// Sources that found no input.
    pub unplaced: Vec<usize>,
    /// Units that have no input left for the common signal.
    pub without_common: Vec<usize>,
    /// Whether no better plan is possible; else not every way was tried.
    pub best: bool,
}

/// What goes into an input.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Wired {
    /// Nothing.
    #[default]
    Free,
    /// A source, by its place in the list.
    Source(usize),
    /// The common signal.
    Common,
}

impl Plan {
    /// Unit and 1-based input of a source, by their places in the lists.
    #[must_use]
    pub fn place_of(&self, source: usize) -> Option<(usize, u32)> {
        self.inputs.iter().enumerate().find_map(|(unit, inputs)| {
            let at = inputs
                .iter()
                .position(|wired| *wired == Wired::Source(source))?;
            Some((unit, at as u32 + 1))
        })
    }

    /// The 1-based input of a unit that carries the common signal beside the sources.
    #[must_use]
    pub fn common_of(&self, unit: usize) -> Option<u32> {
        let at = self.inputs.get(unit)?.iter();
        let mut at = at.enumerate().filter(|(_, wired)| **wired == Wired::Common);
        at.next().map(|(at, _)| at as u32 + 1)
    }

    /// How many inputs of a unit are used.
    #[must_use]
    pub fn used(&self, unit: usize) -> u32 {
        let inputs = self.inputs.get(unit).map_or(&[][..], Vec::as_slice);
        inputs.iter().filter(|wired| **wired != Wired::Free).count() as u32
    }
}

/// Sources that should stay together.
struct Bundle {
    sources: Vec<usize>,
    class: Option<Class>,
}

/// What is looked at while ways are tried.
struct Search<'a> {
    bundles: &'a [Bundle],
    fixed: &'a [Option<usize>],
    steps: u32,
    best: Option<(u64, Vec<Option<usize>>)>,
}

/// Plans a rig. `units` begin with the lead, at `lead`.
#[must_use]
pub fn plan(
    units: &[RigUnit],
    lead: usize,
    sources: &[Source],
    groups: &[PlannedGroup],
    common: CommonPlan,
) -> Plan {
    let mut fixed: Vec<Option<usize>> = sources.iter().map(|source| source.unit).collect();
    if let Some(split) = common.source {
        fixed[split] = fixed[split].or(Some(lead));
    }
    let needs_common = |unit: usize| match common.source.and_then(|split| fixed[split]) {
        // the unit that has the source itself needs no second input for it
        Some(own) => unit != own,
        None if unit == lead => common.kind.takes_input_of_lead(),
        None => common.kind.takes_input_of_follower(),
    };
    let mut room: Vec<u32> = units
        .iter()
        .enumerate()
        .map(|(unit, rig)| rig.inputs.saturating_sub(u32::from(needs_common(unit))))
        .collect();
    for unit in fixed.iter().flatten() {
        room[*unit] = room[*unit].saturating_sub(1);
    }
    let bundles = bundles(sources.len(), groups);
    let order = preferred(units.len(), lead);
    let mut search = Search {
        bundles: &bundles,
        fixed: &fixed,
        steps: 0,
        best: None,
    };
    let mut own = fixed.clone();
    search.step(0, 0, &mut room, &order, &mut own);
    let best = search.steps < MOST_STEPS;
    let own = search.best.map_or(fixed.clone(), |(_, own)| own);
    let mut plan = Plan {
        inputs: units
            .iter()
            .map(|unit| vec![Wired::Free; unit.inputs as usize])
            .collect(),
        best,
        ..Plan::default()
    };
    wire_fixed(&mut plan, sources);
    for unit in (0..units.len()).filter(|unit| needs_common(*unit)) {
        let free = plan.inputs[unit].iter_mut().rev();
        match free.into_iter().find(|wired| **wired == Wired::Free) {
            Some(wired) => *wired = Wired::Common,
            None => plan.without_common.push(unit),
        }
    }
    wire(&mut plan, sources, groups, &own);
    plan
}

/// The lead first: what is asked most of stays on the clock that everything is put on.
fn preferred(units: usize, lead: usize) -> Vec<usize> {
    std::iter::once(lead)
        .chain((0..units).filter(|unit| *unit != lead))
        .filter(|unit| *unit < units)
        .collect()
}

/// Groups, the most demanding and then the largest first, then sources that are in none.
fn bundles(sources: usize, groups: &[PlannedGroup]) -> Vec<Bundle> {
    let mut bundles: Vec<Bundle> = groups
        .iter()
        .filter(|group| !group.sources.is_empty())
        .map(|group| Bundle {
            sources: group.sources.clone(),
            class: Some(group.class),
        })
        .collect();
    bundles.sort_by_key(|bundle| {
        let class = Class::ALL.iter().position(|one| Some(*one) == bundle.class);
        (class, usize::MAX - bundle.sources.len())
    });
    let grouped: Vec<usize> = groups
        .iter()
        .flat_map(|group| group.sources.clone())
        .collect();
    let alone = (0..sources).filter(|source| !grouped.contains(source));
    bundles.extend(alone.map(|source| Bundle {
        sources: vec![source],
        class: None,
    }));
    bundles
}

/// What it costs that a group lies on so many units.
fn cost(class: Option<Class>, units: usize) -> u64 {
    let each = match class {
        Some(Class::Array) => 100_000,
        Some(Class::StereoPair) => 30_000,
        Some(Class::Summed) => 1000,
        Some(Class::Spots) => 30,
        Some(Class::Ambience) | None => 1,
    };
    each * units.saturating_sub(1) as u64
}

impl Search<'_> {
    fn step(
        &mut self,
        at: usize,
        spent: u64,
        room: &mut [u32],
        order: &[usize],
        own: &mut Vec<Option<usize>>,
    ) {
        self.steps += 1;
        let beaten = self.best.as_ref().is_some_and(|(best, _)| *best <= spent);
        if beaten || (self.steps >= MOST_STEPS && self.best.is_some()) {
            return;
        }
        let Some(bundle) = self.bundles.get(at) else {
            self.best = Some((spent, own.clone()));
            return;
        };
        let open: Vec<usize> = (bundle.sources.iter().copied())
            .filter(|source| self.fixed[*source].is_none())
            .collect();
        // where its fixed sources lie comes first, then the others
        let mut ways = order.to_vec();
        ways.sort_by_key(|unit| {
            let fixed = bundle.sources.iter();
            !fixed
                .into_iter()
                .any(|source| self.fixed[*source] == Some(*unit))
        });
        for start in 0..ways.len() {
            // as many as fit on one unit, the rest on the next ones
            let mut filled = ways.clone();
            filled[..=start].rotate_right(1);
            let before = room.to_vec();
            let mut left = open.iter().copied();
            let mut waiting = left.next();
            for unit in filled {
                while let (Some(source), true) = (waiting, room[unit] > 0) {
                    own[source] = Some(unit);
                    room[unit] -= 1;
                    waiting = left.next();
                }
            }
            let unplaced = u64::from(waiting.is_some()) + left.count() as u64;
            let units: std::collections::BTreeSet<usize> =
                bundle.sources.iter().filter_map(|s| own[*s]).collect();
            let cost = cost(bundle.class, units.len()) + unplaced * UNPLACED;
            self.step(at + 1, spent + cost, room, order, own);
            room.copy_from_slice(&before);
            for source in &open {
                own[*source] = None;
            }
        }
        if ways.is_empty() {
            self.step(at + 1, spent, room, order, own);
        }
    }
}

fn wire_fixed(plan: &mut Plan, sources: &[Source]) {
    for (at, source) in sources.iter().enumerate() {
        if let (Some(unit), Some(input)) = (source.unit, source.input) {
            plan.inputs[unit][input as usize - 1] = Wired::Source(at);
        }
    }
}

/// Gives every other source an input of its unit, in the order of the list, groups of an even number from an odd input on (pairs
/// on inputs that units can link; common practice, no source).
fn wire(plan: &mut Plan, sources: &[Source], groups: &[PlannedGroup], own: &[Option<usize>]) {
    for first in 0..sources.len() {
        let group = groups.iter().find(|group| group.sources.contains(&first));
        let together = group.map_or(vec![first], |group| group.sources.clone());
        if together.iter().min() != Some(&first) {
            continue;
        }
        for (unit, inputs) in plan.inputs.iter_mut().enumerate() {
            let here: Vec<usize> = (together.iter().copied())
                .filter(|at| own[*at] == Some(unit) && sources[*at].input.is_none())
                .collect();
            let run = run_of(inputs, here.len());
            for (place, source) in here.into_iter().enumerate() {
                let run = run.map(|run| run + place);
                let at = run.or_else(|| inputs.iter().position(|wired| *wired == Wired::Free));
                match at {
                    Some(at) => inputs[at] = Wired::Source(source),
                    None => plan.unplaced.push(source),
                }
            }
        }
        let lost = together.into_iter().filter(|at| own[*at].is_none());
        plan.unplaced.extend(lost);
    }
    plan.unplaced.sort_unstable();
}

/// Where so many free inputs follow each other; from an odd one on where their number is even.
fn run_of(inputs: &[Wired], long: usize) -> Option<usize> {
    let free = |start: &usize| {
        let run = inputs.get(*start..*start + long);
        run.is_some_and(|run| run.iter().all(|wired| *wired == Wired::Free))
    };
    let mut even = (0..inputs.len()).step_by(2).filter(free);
    match (long >= 2, long % 2) {
        (false, _) => None,
        (true, 0) => even.next().or_else(|| (0..inputs.len()).find(free)),
        _ => (0..inputs.len()).find(free),
    }
}
