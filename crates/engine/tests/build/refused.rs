//! What is refused, and what is left when something fails.

use std::process::Command;

use engine::Kind;
use engine::alignment::{Decided, Member, Placement, Status};
use engine::build::{BuildOptions, build};
use engine::finding::Weight;
use engine::progress::Silent;
use wave::Encoding;

use crate::fixture::{
    Recording, Shoot, alignment, built, follower, joint, names_in, noise, planes,
};

fn unit(shoot: &Shoot, unit: &str, length: usize) -> Member {
    shoot.record(&Recording {
        unit,
        encoding: Encoding::Int24,
        names: &["A"],
        planes: vec![noise(Encoding::Int24, unit.len() as u64, length)],
        stamp: None,
    })
}

#[test]
fn an_output_that_exists_stays_until_its_successor_is_verified() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 4000);
    let take = vec![joint("evening", vec![north], None)];
    let mut options = BuildOptions::new(shoot.out());
    built(take.clone(), &options);
    let path = shoot.out().join("evening.wav");
    let first = std::fs::read(&path).expect("built");

    let report = built(take.clone(), &options);
    assert_eq!(report.unbuilt[0].kind, Some(Kind::Refused));
    assert_eq!(report.unbuilt[0].finding.place, path.display().to_string());
    assert!(std::fs::read(&path).expect("kept") == first);

    // a build that fails with --replace leaves the old one as it is
    options.replace = true;
    let mut broken = take.clone();
    broken[0].members[0].parts[0].digest = "xxh3:0000000000000000".into();
    let report = built(broken, &options);
    assert_eq!(report.unbuilt[0].kind, Some(Kind::Verification));
    assert!(std::fs::read(&path).expect("kept") == first);

    options.format = engine::build::OutputFormat::Float32;
    assert!(built(take, &options).unbuilt.is_empty());
    assert!(std::fs::read(&path).expect("replaced") != first);
    assert_eq!(names_in(&shoot.out()), ["evening.wav", "hashes.xxh3.txt"]);
}

#[test]
fn one_joint_take_that_fails_does_not_keep_the_others() {
    let shoot = Shoot::new();
    let (north, south, west) = (
        unit(&shoot, "NORTH", 4000),
        unit(&shoot, "SOUTH", 4000),
        unit(&shoot, "WEST", 4000),
    );
    let mut changed = joint("changed", vec![south.clone()], None);
    changed.members[0].parts[0].digest = "xxh3:0123456789abcdef".into();
    let mut gone = joint("gone", vec![west.clone()], None);
    gone.members[0].parts[0].path += ".gone";
    let mut undecided = joint(
        "undecided",
        vec![north.clone(), follower(south.clone(), 3.0)],
        None,
    );
    undecided.members[1].status = Status::NeedsDecision;
    let mut nowhere = joint("nowhere", vec![north.clone(), follower(south, 3.0)], None);
    nowhere.members[1].status = Status::NotEstablished;
    nowhere.members[1].placement = Placement::NotPlaced;
    let outside = joint("../outside", vec![north.clone()], None);
    let good = joint("good", vec![north.clone()], None);
    let twice = joint("Good", vec![north], None);
    let takes = vec![
        changed,
        gone,
        undecided,
        nowhere.clone(),
        outside,
        good,
        twice,
    ];

    let options = BuildOptions::new(shoot.out());
    let report = built(takes, &options);
    let kinds: Vec<(&str, Option<Kind>)> = report
        .unbuilt
        .iter()
        .map(|unbuilt| (unbuilt.joint_take.as_str(), unbuilt.kind))
        .collect();
    assert_eq!(
        kinds,
        [
            ("changed", Some(Kind::Verification)),
            ("gone", Some(Kind::Io)),
            ("undecided", None),
            ("nowhere", None),
            ("../outside", Some(Kind::Usage)),
            ("Good", None),
        ]
    );
    assert!(
        report
            .unbuilt
            .iter()
            .all(|unbuilt| !unbuilt.finding.next_step.is_empty())
    );
    assert_eq!(names_in(&shoot.out()), ["good.wav", "hashes.xxh3.txt"]);
    assert_eq!(
        names_in(shoot.root.path()),
        ["NORTH", "SOUTH", "WEST", "out"]
    );

    // leaving the unit out is a person's choice
    let leave = BuildOptions {
        leave_out_unplaced: true,
        ..options
    };
    let report = built(vec![nowhere], &leave);
    assert_eq!(report.outputs[0].left_out, ["SOUTH"]);
    assert_eq!(report.outputs[0].channels.len(), 1);
}

#[test]
fn nothing_is_written_into_a_card() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 4000);
    let card = shoot.root.path().join("NORTH");
    let take = alignment(vec![joint("evening", vec![north], None)]);
    // the folder of a source itself
    let error = build(&take, &BuildOptions::new(&card), &Silent).expect_err("refused");
    assert_eq!(error.kind(), Kind::Refused);
    // a folder on a card that the caller names
    let mut options = BuildOptions::new(card.join("deep/below"));
    options.cards = vec![card.clone()];
    let error = build(&take, &options, &Silent).expect_err("refused");
    assert_eq!(error.kind(), Kind::Refused);
    assert_eq!(names_in(&card), ["take1.wav"]);
}

#[test]
fn a_second_build_at_the_same_time_is_refused() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 4000);
    std::fs::create_dir_all(shoot.out()).expect("folder");
    let held = std::fs::File::open(shoot.out()).expect("folder");
    rustix::fs::flock(&held, rustix::fs::FlockOperation::LockExclusive).expect("locked");
    let take = alignment(vec![joint("evening", vec![north], None)]);
    let error = build(&take, &BuildOptions::new(shoot.out()), &Silent).expect_err("refused");
    assert_eq!(error.kind(), Kind::Refused);
    drop(held);
    assert!(build(&take, &BuildOptions::new(shoot.out()), &Silent).is_ok());
}

#[test]
fn what_a_killed_build_left_is_cleared_and_nothing_else() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 4000);
    std::fs::create_dir_all(shoot.out()).expect("folder");
    for name in [".commontime-a1b2c3.part", "notes.txt", ".hidden.part"] {
        #[expect(clippy::disallowed_methods, reason = "a test plays a killed build")]
        std::fs::write(shoot.out().join(name), b"half").expect("written");
    }
    built(
        vec![joint("evening", vec![north], None)],
        &BuildOptions::new(shoot.out()),
    );
    assert_eq!(
        names_in(&shoot.out()),
        [
            ".hidden.part",
            "evening.wav",
            "hashes.xxh3.txt",
            "notes.txt"
        ]
    );
}

/// A small file system of its own, gone when it is dropped.
struct SmallDisk(std::path::PathBuf);

impl SmallDisk {
    fn new(place: std::path::PathBuf, bytes: &str) -> Self {
        std::fs::create_dir_all(&place).expect("mount point");
        let status = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={bytes}"), "tmpfs"])
            .arg(&place)
            .status()
            .expect("mount");
        assert!(
            status.success(),
            "this test needs the right to mount a small file system"
        );
        Self(place)
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

#[test]
fn too_little_room_is_said_before_anything_is_written() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 2_000_000);
    let disk = SmallDisk::new(shoot.out(), "5m");
    let report = built(
        vec![joint("evening", vec![north], None)],
        &BuildOptions::new(&disk.0),
    );
    let finding = &report.unbuilt[0].finding;
    assert_eq!(report.unbuilt[0].kind, Some(Kind::Io));
    // 2 000 000 samples of 3 bytes and 4 MiB to spare
    assert!(
        finding.message.contains("10.2 MB needed"),
        "{}",
        finding.message
    );
    assert!(names_in(&disk.0).is_empty());
}

#[test]
fn a_disk_that_fills_up_meanwhile_leaves_no_file_and_says_which() {
    let shoot = Shoot::new();
    let (north, south) = (
        unit(&shoot, "NORTH", 2_000_000),
        unit(&shoot, "SOUTH", 1000),
    );
    let disk = SmallDisk::new(shoot.out(), "11m");
    let old = disk.0.join("evening.wav");
    #[expect(clippy::disallowed_methods, reason = "a test needs an old output")]
    std::fs::write(&old, b"the old one").expect("written");
    // someone else takes the room while the build runs
    let thief = Thief {
        folder: disk.0.clone(),
    };
    let takes = alignment(vec![
        joint("evening", vec![north], None),
        joint("after", vec![south], None),
    ]);
    let mut options = BuildOptions::new(&disk.0);
    options.replace = true;
    let report = build(&takes, &options, &thief).expect("the folder can be used");
    let unbuilt = &report.unbuilt[0];
    assert_eq!(unbuilt.kind, Some(Kind::Io), "{report:?}");
    assert_eq!(unbuilt.finding.place, old.display().to_string());
    assert!(
        unbuilt.finding.message.contains("cannot be written"),
        "{}",
        unbuilt.finding.message
    );
    assert!(std::fs::read(&old).expect("kept") == b"the old one");
    assert!(!names_in(&disk.0).iter().any(|name| name.ends_with(".part")));
}

/// Takes nearly all room as soon as rendering begins.
struct Thief {
    folder: std::path::PathBuf,
}

impl engine::progress::Progress for Thief {
    fn stage(&self, name: &str, _total: u64) {
        if name == "rendering evening" {
            #[expect(clippy::disallowed_methods, reason = "a test fills its own small disk")]
            std::fs::write(self.folder.join("other"), vec![1; 8 << 20]).expect("written");
        }
    }

    fn advance(&self, _steps: u64) {}
}

#[test]
fn a_killed_build_leaves_nothing_that_looks_finished() {
    // this very test program runs as a child that is killed while it writes
    if let Ok(root) = std::env::var("COMMONTIME_TEST_BUILD_IN") {
        let text = std::fs::read_to_string(format!("{root}/alignment.json")).expect("alignment");
        let takes = serde_json::from_str(&text).expect("alignment");
        let _ = build(&takes, &BuildOptions::new(format!("{root}/out")), &Hang);
        return;
    }
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 1_500_000);
    let takes = alignment(vec![joint("evening", vec![north], None)]);
    let text = serde_json::to_string(&takes).expect("JSON");
    #[expect(
        clippy::disallowed_methods,
        reason = "a test hands an alignment to its child"
    )]
    std::fs::write(shoot.root.path().join("alignment.json"), text).expect("written");
    let mut child = Command::new(std::env::current_exe().expect("this program"))
        .args([
            "refused::a_killed_build_leaves_nothing_that_looks_finished",
            "--exact",
        ])
        .env("COMMONTIME_TEST_BUILD_IN", shoot.root.path())
        .stdout(std::process::Stdio::null())
        .spawn()
        .expect("child");
    let writing = || {
        shoot.out().is_dir()
            && names_in(&shoot.out())
                .iter()
                .any(|name| name.ends_with(".part"))
    };
    while !writing() {
        assert!(
            child.try_wait().expect("child").is_none(),
            "the child ended early"
        );
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    child.kill().expect("killed");
    child.wait().expect("ended");
    assert!(
        names_in(&shoot.out())
            .iter()
            .all(|name| !name.ends_with(".wav"))
    );
    // a re-run works and clears away
    let report = built(takes.joint_takes, &BuildOptions::new(shoot.out()));
    assert_eq!(
        planes(&report.outputs[0].path),
        planes(&shoot.path("NORTH"))
    );
    assert_eq!(names_in(&shoot.out()), ["evening.wav", "hashes.xxh3.txt"]);
}

/// Never lets a build come to its end.
struct Hang;

impl engine::progress::Progress for Hang {
    fn stage(&self, _name: &str, _total: u64) {}

    fn advance(&self, _steps: u64) {
        std::thread::sleep(std::time::Duration::from_secs(60));
    }
}

/// Whoever waits wants no more after so many steps.
struct Impatient {
    after: u64,
    steps: std::sync::atomic::AtomicU64,
}

impl engine::progress::Progress for Impatient {
    fn stage(&self, _name: &str, _total: u64) {}
    fn advance(&self, steps: u64) {
        let steps = steps.max(1);
        self.steps
            .fetch_add(steps, std::sync::atomic::Ordering::Relaxed);
    }
    fn is_stopped(&self) -> bool {
        self.steps.load(std::sync::atomic::Ordering::Relaxed) >= self.after
    }
}

#[test]
fn what_is_stopped_leaves_nothing_behind() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 600_000);
    let take = alignment(vec![joint("evening", vec![north], None)]);
    let options = BuildOptions::new(shoot.out());
    for after in [0, 1] {
        let impatient = Impatient {
            after,
            steps: 0.into(),
        };
        let report = build(&take, &options, &impatient).expect("a report");
        assert_eq!(report.outputs.len(), 0, "after {after}");
        assert_eq!(report.unbuilt[0].kind, Some(Kind::Stopped), "after {after}");
        assert_eq!(names_in(&shoot.out()), [""; 0], "after {after}");
    }
    // and the same is built when it is wanted again
    let report = build(&take, &options, &Silent).expect("built");
    assert_eq!(names_in(&shoot.out()), ["evening.wav", "hashes.xxh3.txt"]);
    assert_eq!(report.unbuilt.len(), 0);
}

#[test]
fn a_unit_that_a_person_left_out_is_not_asked_about() {
    let shoot = Shoot::new();
    let north = unit(&shoot, "NORTH", 4000);
    let mut south = follower(unit(&shoot, "SOUTH", 4000), 0.0);
    south.status = Status::NeedsDecision;
    let mut take = alignment(vec![joint("evening", vec![north, south], None)]);
    let options = BuildOptions::new(shoot.out());
    let asked = build(&take, &options, &Silent).expect("a report");
    assert_eq!(asked.unbuilt[0].finding.code, "needs-decision");
    let decided = Some((Decided::LeftOut, "wind".to_string()));
    take.decide("evening", "SOUTH", decided).expect("decided");
    let report = build(&take, &options, &Silent).expect("built");
    assert_eq!(report.outputs[0].left_out, ["SOUTH"]);
    let said = report
        .findings
        .iter()
        .find(|finding| finding.code == "left-out");
    let said = said.expect("a note");
    assert_eq!(
        (said.weight, said.message.as_str()),
        (Weight::Note, "SOUTH is left out by a person: wind")
    );
    // accepted, it comes in
    let accepted = Some((Decided::Accepted, String::new()));
    take.decide("evening", "SOUTH", accepted).expect("decided");
    let again = BuildOptions {
        replace: true,
        ..options
    };
    let report = build(&take, &again, &Silent).expect("built");
    assert_eq!(
        (report.outputs[0].channels.len(), report.unbuilt.len()),
        (2, 0)
    );
}
