//! Plans against what a person sees at once.

use super::*;

fn planned(
    units: &[(&str, u32)],
    shoot: &str,
    groups: &[(&str, &str, u32)],
    alone: u32,
) -> Session {
    let mut text = format!("[shoot]\n{shoot}\n");
    for (name, inputs) in units {
        text += &format!("[[unit]]\nname = \"{name}\"\ninputs = {inputs}\n");
    }
    for (name, class, size) in groups {
        let names: Vec<String> = (1..=*size).map(|n| format!("\"{name} {n}\"")).collect();
        for one in &names {
            text += &format!("[[source]]\nname = {one}\n");
        }
        text += &format!(
            "[[group]]\nname = \"{name}\"\nclass = \"{class}\"\nsources = [{}]\n",
            names.join(", ")
        );
    }
    for n in 1..=alone {
        text += &format!("[[source]]\nname = \"spot {n}\"\n");
    }
    Session::from_toml(&text).unwrap_or_else(|error| panic!("{error:?} in\n{text}"))
}

/// The units of every planned group, as a person would write them.
fn units_of(session: &Session) -> Vec<Vec<usize>> {
    let groups = session.planned.iter();
    groups
        .map(|group| {
            let places = group
                .sources
                .iter()
                .filter_map(|s| session.plan.place_of(*s));
            crate::units::distinct(places.map(|(unit, _)| unit))
        })
        .collect()
}

#[test]
fn groups_stay_on_one_unit_where_they_fit() {
    // 5 + 3 and 4 + 4 fit on two units of eight only so: taking the groups as they come would cut the last
    let groups = [
        ("ring", "array", 5),
        ("pair a", "stereo-pair", 4),
        ("pair b", "stereo-pair", 4),
        ("sums", "summed", 3),
    ];
    let session = planned(&[("NORTH", 8), ("SOUTH", 8)], "", &groups, 0);
    assert!(session.plan.best && session.plan.unplaced.is_empty());
    assert!(units_of(&session).iter().all(|units| units.len() == 1));
    assert_eq!(units_of(&session)[0], [0], "the array stays with the lead");
}

#[test]
fn what_must_cross_is_the_least_demanding() {
    let groups = [
        ("ring", "array", 4),
        ("pair", "stereo-pair", 2),
        ("crowd", "ambience", 6),
    ];
    let session = planned(&[("NORTH", 6), ("SOUTH", 6)], "", &groups, 0);
    assert!(
        units_of(&session).iter().all(|units| units.len() == 1),
        "6 + 6"
    );
    let tight = planned(&[("NORTH", 7), ("SOUTH", 5)], "", &groups, 0);
    let units = units_of(&tight);
    assert_eq!(
        (units[0].len(), units[1].len(), units[2].len()),
        (1, 1, 2),
        "{units:?}"
    );
    assert!(tight.plan.unplaced.is_empty() && tight.plan.best);
}

#[test]
fn the_common_signal_has_inputs_of_its_own() {
    let groups = [("ring", "array", 4), ("pair", "stereo-pair", 2)];
    let timecode = planned(
        &[("NORTH", 4), ("SOUTH", 4)],
        "common_signal = \"timecode\"",
        &groups,
        0,
    );
    // the array no longer fits beside it: three and one, or a source without an input
    assert_eq!(timecode.plan.common_of(0), Some(4));
    assert_eq!(timecode.plan.common_of(1), Some(4));
    assert_eq!(units_of(&timecode)[0].len(), 2);
    let split = planned(
        &[("NORTH", 4), ("SOUTH", 3)],
        "common_signal = \"split-source\"\nsplit = \"ring 2\"",
        &groups,
        0,
    );
    assert_eq!(units_of(&split), [[0], [1]]);
    assert_eq!(
        (split.plan.common_of(0), split.plan.common_of(1)),
        (None, Some(3))
    );
}

#[test]
fn pairs_begin_at_odd_inputs_and_fixed_inputs_stay() {
    let text = "[[unit]]\nname = \"NORTH\"\ninputs = 8\n\
        [[source]]\nname = \"talker\"\n[[source]]\nname = \"left\"\n[[source]]\nname = \"right\"\n\
        [[source]]\nname = \"organ\"\nunit = \"north\"\ninput = 5\n\
        [[group]]\nname = \"main\"\nclass = \"stereo-pair\"\nsources = [\"left\", \"right\"]\n";
    let session = Session::from_toml(text).expect("a session");
    let places: Vec<_> = (0..4).map(|s| session.plan.place_of(s)).collect();
    assert_eq!(
        places,
        [Some((0, 1)), Some((0, 3)), Some((0, 4)), Some((0, 5))]
    );
    let group = session.group_of("NORTH", 4).expect("a group by its plan");
    assert_eq!(group.name, "main");
}

#[test]
fn sources_without_an_input_are_named() {
    let session = planned(&[("NORTH", 2), ("SOUTH", 1)], "", &[], 5);
    assert_eq!(session.plan.unplaced, [3, 4]);
}

/// Every way of placing small rigs, counted here without the planner: none keeps more of the demanding groups together.
#[test]
fn no_way_is_better_than_the_plan() {
    let classes = ["array", "stereo-pair", "summed", "spots", "ambience"];
    let weight = [100_000_u64, 30_000, 1000, 30, 1];
    let mut seed = 7_u64;
    let mut next = |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (seed >> 33) % below
    };
    for _ in 0..60 {
        let groups: Vec<(String, usize, u32)> = (0..3)
            .map(|n| (format!("g{n}"), next(5) as usize, 1 + next(4) as u32))
            .collect();
        let sizes: u32 = groups.iter().map(|(_, _, size)| size).sum();
        let north = 1 + next(u64::from(sizes)) as u32;
        let south = (sizes - north.min(sizes)).max(1) + next(2) as u32;
        let named: Vec<(&str, &str, u32)> = groups
            .iter()
            .map(|(name, class, size)| (name.as_str(), classes[*class], *size))
            .collect();
        let planned = planned(&[("NORTH", north), ("SOUTH", south)], "", &named, 0);
        assert!(planned.plan.unplaced.is_empty());
        let found: u64 = (units_of(&planned).iter().zip(&groups))
            .map(|(units, (_, class, _))| weight[*class] * (units.len() as u64 - 1))
            .sum();
        // a bit a source: on which unit it is
        let least = (0_u32..1 << sizes)
            .filter(|ways| {
                let south_has = ways.count_ones();
                south_has <= south && sizes - south_has <= north
            })
            .map(|ways| {
                let mut first = 0;
                let costs = groups.iter().map(|(_, class, size)| {
                    let own = (ways >> first) & ((1 << size) - 1);
                    first += size;
                    let crosses = own != 0 && own != (1 << size) - 1;
                    weight[*class] * u64::from(crosses)
                });
                costs.sum::<u64>()
            })
            .min();
        assert_eq!(Some(found), least, "{named:?} on {north} and {south}");
    }
}

#[test]
fn many_sources_are_planned_in_a_moment() {
    let groups: Vec<(String, &str, u32)> = (0..40)
        .map(|n| (format!("g{n}"), "stereo-pair", 2 + n % 3))
        .collect();
    let named: Vec<(&str, &str, u32)> = groups
        .iter()
        .map(|(name, class, size)| (name.as_str(), *class, *size))
        .collect();
    let units = [("A", 31), ("B", 31), ("C", 31), ("D", 31)];
    let session = planned(&units, "common_signal = \"timecode\"", &named, 0);
    assert!(session.plan.unplaced.is_empty());
}
