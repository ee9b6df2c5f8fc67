//! The desk over plain sockets: who may ask it for what, that it edits the alignment file and nothing else, and that the command
//! line and it do the same.

mod desks;
mod shoots;

use desks::{alignment, desk, desk_and_truth, session_form};
use serde_json::Value;
use shoots::{commontime, listing, status};

#[expect(clippy::disallowed_methods, reason = "a test writes what it tries out")]
fn write(path: impl AsRef<std::path::Path>, text: impl AsRef<[u8]>) -> std::io::Result<()> {
    std::fs::write(path, text)
}

#[test]
fn nobody_else_is_answered() {
    let (_place, desk) = desk();
    let own = desk.own();
    let cookie = format!("desk-{}={}", desk.port, desk.key);
    let name_of_same_address = format!("localhost:{}", desk.port);
    let ask = |headers: &[(&str, &str)]| desk.raw("GET", "/", headers, "").status;
    assert_eq!(ask(&[("Host", &own), ("Cookie", &cookie)]), 200);
    assert_eq!(
        ask(&[("Host", &name_of_same_address), ("Cookie", &cookie)]),
        200
    );
    // without the key, with a wrong one, with a part of it
    assert_eq!(ask(&[("Host", &own)]), 403);
    let wrong = format!("desk-{}={}", desk.port, "0".repeat(32));
    assert_eq!(ask(&[("Host", &own), ("Cookie", &wrong)]), 403);
    let part = &cookie[..cookie.len() - 1];
    assert_eq!(ask(&[("Host", &own), ("Cookie", part)]), 403);
    assert_eq!(
        desk.raw("GET", "/?key=0", &[("Host", &own)], "").status,
        403
    );
    // a name that was made to point here
    let other = format!("recorder.example:{}", desk.port);
    assert_eq!(ask(&[("Host", &other), ("Cookie", &cookie)]), 421);
    assert_eq!(ask(&[("Host", "127.0.0.1"), ("Cookie", &cookie)]), 421);
    let with_key = format!("/?key={}", desk.key);
    assert_eq!(
        desk.raw("GET", &with_key, &[("Host", &other)], "").status,
        421
    );
    // another page that asks through the browser
    let foreign = [
        ("Host", own.as_str()),
        ("Cookie", &cookie),
        ("Origin", "http://recorder.example"),
    ];
    assert_eq!(desk.raw("GET", "/pulse", &foreign, "").status, 403);
    let null = [
        ("Host", own.as_str()),
        ("Cookie", &cookie),
        ("Origin", "null"),
    ];
    assert_eq!(desk.raw("GET", "/pulse", &null, "").status, 403);
    assert_eq!(
        desk.raw("PUT", "/", &[("Host", &own), ("Cookie", &cookie)], "x=1")
            .status,
        405
    );
}

#[test]
fn what_changes_anything_comes_from_its_own_pages() {
    let (place, desk) = desk();
    let own = desk.own();
    let cookie = format!("desk-{}={}", desk.port, desk.key);
    let origin = format!("http://{own}");
    let token = desk.token();
    let body = format!("token={token}&remove={}", place.card("NORTH"));
    let ask =
        |headers: &[(&str, &str)], body: &str| desk.raw("POST", "/do/cards", headers, body).status;
    // no origin, another origin, no token, another token
    assert_eq!(ask(&[("Host", &own), ("Cookie", &cookie)], &body), 403);
    let other = "http://127.0.0.1:1";
    assert_eq!(
        ask(
            &[("Host", &own), ("Cookie", &cookie), ("Origin", other)],
            &body
        ),
        403
    );
    let mine = [
        ("Host", own.as_str()),
        ("Cookie", cookie.as_str()),
        ("Origin", origin.as_str()),
    ];
    assert_eq!(ask(&mine, "remove=x"), 403);
    assert_eq!(
        ask(&mine, &format!("token={}&remove=x", "0".repeat(32))),
        403
    );
    let page = desk.get("/").text();
    assert!(
        page.contains("2 on the desk"),
        "nothing was changed by any of these"
    );
    assert_eq!(ask(&mine, &body), 303);
    assert!(desk.get("/").text().contains("1 on the desk"));
    // forms have no end
    let long = format!("token={token}&add={}", "x".repeat(100_000));
    assert_eq!(ask(&mine, &long), 413);
}

#[test]
fn pages_may_load_nothing_from_elsewhere_and_files_stay_in_their_folder() {
    let (place, desk) = desk();
    for path in [
        "/",
        "/settings",
        "/day",
        "/build",
        "/sums",
        "/prep",
        "/nowhere",
        "/assets/desk.js",
        "/assets/icon.svg",
    ] {
        let answer = desk.get(path);
        let policy = answer.header("content-security-policy").expect("a policy");
        assert!(policy.contains("default-src 'none'"), "{path}: {policy}");
        assert!(!policy.contains("unsafe"), "{path}: {policy}");
        let text = answer.text();
        let mut words = text.split(['"', '\'']);
        // a name that nothing is fetched from
        let names = ["http://www.w3.org/2000/svg"];
        let elsewhere = words.find(|word| word.starts_with("http") && !names.contains(word));
        assert_eq!(elsewhere, None, "{path} names another address");
    }
    write(place.out_path().join("../secret.json"), "{}").expect("a file beside");
    write(place.out_path().join("report.exe"), "x").expect("a file");
    #[cfg(unix)]
    std::os::unix::fs::symlink("/etc/passwd", place.out_path().join("link.csv")).expect("a link");
    for path in [
        "/out/..%2Fsecret.json",
        "/out/../secret.json",
        "/out/%2e%2e%2fsecret.json",
        "/out/%2Fetc%2Fpasswd.json",
        "/out/report.exe",
        "/out/link.csv",
        "/out/.commontime-desk",
        "/assets/..%2Fmod.rs",
        "/take/..%2F..",
    ] {
        assert_eq!(desk.get(path).status, 404, "{path}");
    }
}

#[test]
fn a_second_desk_on_one_folder_refuses_and_a_card_is_no_folder_for_it() {
    let (place, desk) = desk();
    let second = commontime(&["desk", "--out", &place.out(), "--no-browser"]);
    assert_eq!(status(&second), 2);
    let said = String::from_utf8_lossy(&second.stderr).into_owned();
    assert!(said.contains("another desk has this folder"), "{said}");
    drop(desk);
    let card = place.card("NORTH");
    let on_card = commontime(&[
        "desk",
        &card,
        "--out",
        &format!("{card}/out"),
        "--no-browser",
    ]);
    assert_eq!(status(&on_card), 2);
    assert!(String::from_utf8_lossy(&on_card.stderr).contains("lies on the card"));
    assert!(!place.cards().join("NORTH/out").exists());
}

#[test]
fn what_the_desk_decides_the_command_line_builds_and_cards_are_never_written() {
    let (place, desk) = desk();
    let before = listing(&place.cards());
    assert_eq!(desk.post("/do/measure", "spacing=10").status, 303);
    desk.settle();
    let measured = alignment(&place);
    let name = measured["joint_takes"][0]["name"]
        .as_str()
        .expect("a name")
        .to_string();
    assert_eq!(
        measured["joint_takes"][0]["members"][1]["basis"],
        "common-signal"
    );
    // left out with a reason: `build` follows, says so and asks nothing
    let fields = format!("take={name}&unit=SOUTH&what=leave-out&reason=wind+noise");
    assert_eq!(desk.post("/do/decide", &fields).status, 303);
    let decided = alignment(&place);
    let south = &decided["joint_takes"][0]["members"][1];
    assert_eq!(
        (&south["decision"]["what"], &south["placement"]),
        (&"left-out".into(), &"not-placed".into())
    );
    let page = desk.get(&format!("/take/{name}")).text();
    assert!(
        page.contains("left out by a person: wind noise"),
        "the page says it"
    );
    let file = place
        .out_path()
        .join("alignment.json")
        .display()
        .to_string();
    let built = commontime(&["build", &file, "--out", &place.path("built"), "--json"]);
    assert_eq!(
        status(&built),
        0,
        "{}",
        String::from_utf8_lossy(&built.stderr)
    );
    let said: Value = serde_json::from_slice(&built.stdout).expect("JSON");
    let channels = said["built"]["outputs"][0]["channels"]
        .as_array()
        .expect("channels");
    assert!(
        channels.iter().all(|channel| channel["unit"] == "NORTH"),
        "{channels:?}"
    );
    // taken back: as it was measured
    let fields = format!("take={name}&unit=SOUTH&what=take-back");
    assert_eq!(desk.post("/do/decide", &fields).status, 303);
    assert_eq!(alignment(&place), measured);
    // and the other way round: what is written by others is seen
    let mut edited = measured.clone();
    edited["joint_takes"][0]["name"] = "by-hand".into();
    std::thread::sleep(std::time::Duration::from_millis(20));
    write(&file, edited.to_string()).expect("edited by hand");
    assert!(desk.get("/day").text().contains("by-hand"));
    // built from the desk: the same samples as `build` gives
    assert_eq!(desk.post("/do/build", "shape=poly").status, 303);
    desk.settle();
    let recording = place.out_path().join("by-hand.wav");
    let again = commontime(&["build", &file, "--out", &place.path("again"), "--json"]);
    assert_eq!(
        status(&again),
        0,
        "{}",
        String::from_utf8_lossy(&again.stderr)
    );
    let own = std::fs::read(recording).expect("the desk's recording");
    let other = std::fs::read(place.path("again/by-hand.wav")).expect("the command's recording");
    assert!(own == other, "the desk and `build` give the same bytes");
    let report = desk.get("/out/by-hand.report.html");
    assert_eq!(report.status, 200);
    assert_eq!(listing(&place.cards()), before, "cards are never written");
}

#[test]
fn an_instant_marked_by_hand_places_the_follower() {
    let (place, desk, truth) = desk_and_truth();
    let name = desk.measured();
    let at = 240_000.0;
    let found = desk.get(&format!(
        "/instant?take={name}&unit=SOUTH&at={at}&how=after"
    ));
    let found: Value = serde_json::from_slice(&found.body).expect("JSON");
    let own = found["position"].as_f64().expect("a position");
    let offset = truth.unit("SOUTH").expect("SOUTH").offset_samples;
    assert!((own - (at - offset)).abs() < 5.0, "{own} {offset}");
    // a tie seven samples off, on a person's word
    let tie = format!(
        "take={name}&follower=SOUTH&lead-position={at}&follower-position={}&reason=the+clap",
        own + 7.0
    );
    assert_eq!(desk.post("/do/tie", &tie).status, 303);
    desk.settle();
    let tied = alignment(&place);
    let member = &tied["joint_takes"][0]["members"][1];
    assert_eq!(
        (&tied["joint_takes"][0]["name"], &member["basis"]),
        (&name.as_str().into(), &"manual".into())
    );
    let story = member["evidence"]["story"].to_string();
    assert!(story.contains("the clap"), "{story}");
    let found = desk.get(&format!(
        "/instant?take={name}&unit=SOUTH&at={at}&how=after"
    ));
    let found: Value = serde_json::from_slice(&found.body).expect("JSON");
    let placed = found["position"].as_f64().expect("a position");
    assert!((placed - (own + 7.0)).abs() < 0.05, "{placed} {own}");
    // what cannot be is said, and changes nothing
    let nowhere = format!("take={name}&follower=SOUTH&lead-position=-5&follower-position=1");
    assert_eq!(desk.post("/do/tie", &nowhere).status, 400);
    assert_eq!(
        desk.post("/do/decide", "take=none&unit=SOUTH&what=leave-out")
            .status,
        400
    );
    assert_eq!(alignment(&place), tied);
}

#[test]
fn the_first_roll_is_judged_alike_on_the_desk_and_by_the_command() {
    let (place, desk) = desk();
    let judged = commontime(&["first-roll", &place.card("NORTH"), &place.card("SOUTH")]);
    let said = String::from_utf8_lossy(&judged.stdout).into_owned();
    assert_eq!(status(&judged), 0, "{said}");
    assert!(
        said.starts_with("Ready for arrays: SOUTH shares a common signal"),
        "{said}"
    );
    assert_eq!(desk.post("/do/first-roll", "").status, 303);
    desk.settle();
    let page = desk.get("/first-roll").text();
    assert!(
        page.contains("✓ ready for arrays: SOUTH shares a common signal"),
        "{page}"
    );
    let line = said.lines().nth(1).expect("a follower").trim();
    assert!(page.contains(line), "{line}");
    // one card alone is no roll
    let alone = commontime(&["first-roll", &place.card("NORTH")]);
    assert_eq!(status(&alone), 2);
}

/// The numbers of a stretch, four bytes each.
fn numbers(bytes: &[u8]) -> Vec<f32> {
    bytes
        .chunks_exact(4)
        .map(|four| f32::from_le_bytes([four[0], four[1], four[2], four[3]]))
        .collect()
}

#[test]
#[expect(
    clippy::disallowed_methods,
    reason = "a test takes a file off its own card"
)]
fn a_lost_file_hides_its_own_unit_alone() {
    let (place, desk) = desk();
    let name = desk.measured();
    std::fs::remove_file(place.cards().join("SOUTH/SOUTH_T01.WAV")).expect("a file of SOUTH");
    let wave = |unit: &str| {
        desk.get(&format!(
            "/wave?take={name}&unit={unit}&channel=1&from=0&to=400&columns=400"
        ))
    };
    assert_eq!(wave("NORTH").status, 200);
    let lost = wave("SOUTH");
    assert_eq!(lost.status, 500);
    assert!(lost.text().contains("SOUTH_T01.WAV"), "{}", lost.text());
}

#[test]
fn the_seam_shows_what_the_files_hold() {
    let (place, desk) = desk();
    desk.measured();
    let measured = alignment(&place);
    let take = &measured["joint_takes"][0];
    let name = take["name"].as_str().expect("a name");
    let wave = |unit: &str, channel: u32, from: i64, to: i64, columns: usize| {
        let answer = desk.get(&format!(
            "/wave?take={name}&unit={unit}&channel={channel}&from={from}&to={to}&columns={columns}&how=after"
        ));
        assert_eq!(answer.status, 200, "{}", answer.text());
        (
            answer.header("x-kind").expect("a kind").to_string(),
            numbers(&answer.body),
        )
    };
    // the lead's own file, read by another program
    let file = take["members"][0]["parts"][0]["path"]
        .as_str()
        .expect("a path")
        .to_string();
    let decoded = std::process::Command::new("ffmpeg")
        .args([
            "-v",
            "error",
            "-i",
            &file,
            "-af",
            "pan=mono|c0=c0",
            "-f",
            "f32le",
            "-",
        ])
        .output()
        .expect("ffmpeg runs");
    let truth = numbers(&decoded.stdout);
    let (kind, samples) = wave("NORTH", 1, 100_000, 100_400, 400);
    assert_eq!((kind.as_str(), samples.len()), ("samples", 400));
    for (found, meant) in samples.iter().zip(&truth[100_000..]) {
        assert!((found - meant).abs() < 1e-6, "{found} {meant}");
    }
    for columns in [500, 40] {
        let (kind, pairs) = wave("NORTH", 1, 0, 500_000, columns);
        assert!(kind == "extremes" || columns == 40, "{kind}");
        assert_eq!(pairs.len(), 2 * columns);
        if kind != "extremes" {
            continue;
        }
        let width = 500_000 / columns;
        for (column, pair) in pairs.chunks_exact(2).enumerate() {
            let own = &truth[column * width..(column + 1) * width];
            let least = own.iter().copied().fold(f32::INFINITY, f32::min);
            let most = own.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            // peaks that are kept reach over a column's edges
            assert!(
                pair[0] <= least + 1e-6 && pair[1] >= most - 1e-6,
                "{pair:?} {least} {most}"
            );
        }
    }
    // nothing was recorded before the lead began
    let (_, nothing) = wave("NORTH", 1, -200, -100, 100);
    assert!(nothing.iter().all(|value| value.is_nan()));
    // the common signal is one signal where it is laid over each other
    let channels = &take["members"][1]["evidence"]["common_level"];
    let own = |name: &str| channels[name].as_u64().expect("a channel") as u32;
    let (_, lead) = wave("NORTH", own("lead_channel"), 200_000, 202_000, 2000);
    let (_, follower) = wave("SOUTH", own("follower_channel"), 200_000, 202_000, 2000);
    let dot = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(x, y)| f64::from(x * y)).sum::<f64>();
    let alike = dot(&lead, &follower) / (dot(&lead, &lead) * dot(&follower, &follower)).sqrt();
    assert!(alike > 0.999, "{alike}");
    let listened = desk.get(&format!(
        "/listen?take={name}&lead=1&unit=SOUTH&channel=1&from=100000&seconds=2&played=sides&how=after"
    ));
    assert_eq!((listened.status, &listened.body[..4]), (200, &b"RIFF"[..]));
    let sound = listened.body.len() - 2 * 3 * 96_000;
    assert_eq!(
        sound, 80,
        "two channels of 24 bits for 2 s behind a head with room for a larger one"
    );
    assert_eq!(
        desk.get(&format!(
            "/wave?take={name}&unit=EAST&channel=1&from=0&to=9&columns=9"
        ))
        .status,
        400
    );
    assert_eq!(
        desk.get(&format!(
            "/wave?take={name}&unit=SOUTH&channel=99&from=0&to=9&columns=9"
        ))
        .status,
        400
    );
    let far = format!(
        "/wave?take={name}&unit=SOUTH&channel=1&from=-9000000000000000000&to=9000000000000000000&columns=9"
    );
    assert_ne!(desk.get(&far).status, 500);
}

#[test]
fn a_session_is_kept_as_the_file_that_the_command_takes() {
    let (place, desk) = desk();
    let page = desk.get("/prep").text();
    assert!(page.contains("Nothing is planned in this folder yet"));
    let session = place.out_path().join("session.toml");
    // what makes no sense is not kept, and not lost
    let broken = "[[unit]]\r\nname = \"NORTH\"\r\ninputs = none\r\n";
    let refused = desk.post("/do/prep", &session_form(broken));
    assert_eq!(refused.status, 400);
    let text = refused.text();
    assert!(
        text.contains("inputs = none") && text.contains("line 3"),
        "{text}"
    );
    assert!(!session.exists());
    let whole = "# ours\r\n[[unit]]\r\nname = \"NORTH\"\r\ninputs = 4\r\n[[source]]\r\nname = \"left <b>\"\r\n";
    assert_eq!(desk.post("/do/prep", &session_form(whole)).status, 303);
    let kept = std::fs::read_to_string(&session).expect("kept");
    assert_eq!(kept, whole.replace("\r\n", "\n"));
    let page = desk.get("/prep").text();
    assert!(page.contains("left &lt;b&gt;") && !page.contains("left <b>"));
    assert_eq!(desk.get("/out/session-sheet.html").status, 200);
    let run = commontime(&["prep", &session.display().to_string(), "--json"]);
    let own: Value = serde_json::from_slice(&run.stdout).expect("JSON");
    let sheet = desk.get("/out/session-sheet.json").text();
    assert_eq!(serde_json::from_str::<Value>(&sheet).expect("JSON"), own);
}
