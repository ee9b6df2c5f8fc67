//! The desk in a real browser: the whole way from cards to reports with the mouse, once with the keyboard alone, accessibility of
//! every screen, and pictures of all of them where `COMMONTIME_SCREENS` names a folder.

mod browser;
mod desks;
mod shoots;

use std::path::PathBuf;

use browser::Window;
use desks::{alignment, desk, session_form};
use engine::prep::EXAMPLE;
use headless_chrome::browser::tab::point::Point;

/// How many pixels of the canvas are not paper.
const INKED: &str = "(() => { const canvas = document.querySelector('canvas'); const pixels = canvas.getContext('2d')\
                     .getImageData(0, 0, canvas.width, canvas.height).data; let inked = 0; for (let i = 3; i < pixels.length; \
                     i += 4) if (pixels[i] > 0) inked += 1; return inked / (pixels.length / 4); })()";

#[test]
fn from_cards_to_reports_with_a_tie_by_hand() {
    let (place, desk) = desk();
    let window = Window::open();
    window.go(&desk.start());
    window.until_said("2 on the desk");
    // the key is gone from the address
    assert!(
        !window.tab.get_url().contains("key="),
        "{}",
        window.tab.get_url()
    );
    window.press("Next: settings side by side");
    window.until_said("NORTH");
    window.press("Next: the day");
    window.press("Measure");
    window.until_said("✓ established");
    let measured = alignment(&place);
    let name = measured["joint_takes"][0]["name"].as_str().expect("a name");
    window.press(name);
    window.until_said("Mark the same instant by hand");
    // the seam is drawn, comes closer, and stands in the address
    window.until(&format!("{INKED} > 0.02"));
    window.press("Single samples");
    window.until("location.hash.includes('from=')");
    let hash = window.ask("location.hash");
    let span = window.ask("(() => { const all = new URLSearchParams(location.hash.slice(1)); return all.get('to') - all.get('from'); })()");
    assert_eq!(span, 80.0, "{hash}");
    window.until("window.seams.layers.some((layer) => layer.heard.kind === 'samples')");
    window.ask("location.reload()");
    window.until(&format!(
        "window.seams !== undefined && location.hash === {hash}"
    ));
    // two clicks: the lead at one place, the follower seven samples later
    window.press("Mark an instant");
    let click = |sample: f64| {
        let found = window.ask(&format!(
            "(() => {{ const box = document.querySelector('canvas').getBoundingClientRect(); return JSON.stringify([box.left + \
             window.seamsPlace(window.seams.view.from + {sample}), box.top + 60]); }})()"
        ));
        let [x, y]: [f64; 2] =
            serde_json::from_str(found.as_str().expect("text")).expect("a place");
        window.tab.click_point(Point { x, y }).expect("clicked");
    };
    window.ask("document.querySelector('canvas').scrollIntoView({ block: 'center' })");
    click(30.0);
    window.until("document.querySelector('#tie [name=lead-position]').value !== ''");
    click(37.0);
    window.until("document.querySelector('#tie [name=follower-position]').value !== ''");
    window.click("#tie input[name=reason]");
    window
        .tab
        .type_str("the knock on the stand")
        .expect("typed");
    window.press("Measure with this tie");
    window.until_said("measured anew");
    let tied = alignment(&place);
    let member = &tied["joint_takes"][0]["members"][1];
    assert_eq!(member["basis"], "manual", "{member}");
    let moved = member["offset_samples"].as_f64().expect("a number")
        - measured["joint_takes"][0]["members"][1]["offset_samples"]
            .as_f64()
            .expect("a number");
    // a pixel is a tenth of a sample or so
    assert!((moved + 7.0).abs() < 0.5, "{moved}");
    window.until_said("the knock on the stand");
    // the sound can be listened to
    window.press("Listen from the middle of the view");
    window.until("document.getElementById('player').duration > 9");
    window.press("Next: build and report");
    window.press("Build");
    window.until_said("every joint take is built, read back and equal");
    assert!(place.out_path().join(format!("{name}.wav")).is_file());
    window.press(&format!("Report on {name}"));
    window.until_said("Measured again");
}

#[test]
fn the_keyboard_alone_goes_all_the_way() {
    let (place, desk) = desk();
    let window = Window::open();
    let enter = |words: &str| {
        window.tab_to(words);
        window.tab.press_key("Enter").expect("a key");
    };
    window.go(&desk.start());
    window.until_said("2 on the desk");
    enter("To the page");
    enter("Next: settings side by side");
    window.until_said("What the units wrote about themselves");
    enter("Next: the day");
    window.until_said("Nothing was measured yet");
    enter("Measure");
    window.until_said("✓ established");
    let name = alignment(&place)["joint_takes"][0]["name"]
        .as_str()
        .expect("a name")
        .to_string();
    enter(&name);
    window.until_said("Mark the same instant by hand");
    window.until("window.seams !== undefined");
    window.tab_to("canvas");
    for key in ["+", "+", "ArrowRight", "m", "Enter", ".", ".", "Enter"] {
        window.tab.press_key(key).expect("a key");
        std::thread::sleep(std::time::Duration::from_millis(300));
    }
    window.until("document.querySelector('#tie [name=follower-position]').value !== ''");
    window.until("document.activeElement.tagName === 'CANVAS'");
    let outline = window.ask("getComputedStyle(document.activeElement).outlineStyle");
    assert_eq!(outline, "solid", "the focus is seen");
    // decided and taken back
    enter("Leave it out");
    window.until_said("It was left out by a person");
    enter("Take the decision back");
    window.until_said("nothing needs deciding");
    enter("Next: build and report");
    window.until_said("nothing is left to decide");
    enter("Build");
    window.until_said("every joint take is built, read back and equal");
    enter("Sound report of the day");
    window.until_said("Sound report");
}

#[test]
fn pages_follow_what_others_do_but_not_over_a_form_that_was_begun() {
    let (_place, desk) = desk();
    let name = desk.measured();
    let own = format!("http://{}", desk.own());
    let window = Window::open();
    window.go(&desk.start());
    window.go(&format!("{own}/day"));
    window.until_said("✓ established");
    desk.post(
        "/do/decide",
        &format!("take={name}&unit=SOUTH&what=leave-out&reason=wind"),
    );
    window.until_said("something left out");
    // a form that somebody has begun to fill in stays as it is, and says so
    window.go(&format!("{own}/take/{name}"));
    window.click("#tie input[name=reason]");
    window.tab.type_str("half a wo").expect("typed");
    desk.post(
        "/do/decide",
        &format!("take={name}&unit=SOUTH&what=take-back"),
    );
    window.until_said("Something changed meanwhile");
    let typed = window.ask("document.querySelector('#tie input[name=reason]').value");
    assert_eq!(typed, "half a wo");
    window.press("Load the page again");
    window.until_said("nothing needs deciding");
    // and when the desk is gone, the page says so
    drop(desk);
    window.until_said("The desk does not answer");
}

/// Every screen of the desk, by name and address.
fn screens(name: &str) -> Vec<(&'static str, String)> {
    let take = format!("/take/{name}");
    vec![
        ("cards", "/".into()),
        ("settings", "/settings".into()),
        ("day", "/day".into()),
        ("take", take.clone()),
        ("take-samples", format!("{take}#from=240000&to=240080")),
        (
            "take-over",
            format!("{take}#from=239000&to=241000&view=over&how=before"),
        ),
        ("build", "/build".into()),
        ("prep", "/prep".into()),
        ("first-roll", "/first-roll".into()),
        ("sums", "/sums?sum=10%3A00%3A00%3A00".into()),
        ("nowhere", "/nowhere".into()),
    ]
}

#[test]
fn every_screen_can_be_used_by_everybody() {
    let (_place, desk) = desk();
    let window = Window::open();
    window.go(&desk.start());
    let pictures = std::env::var_os("COMMONTIME_SCREENS").map(PathBuf::from);
    let own = format!("http://{}", desk.own());
    let mut faults: Vec<String> = Vec::new();
    let mut look = |state: &str, screens: &[(&str, String)]| {
        for (size, width, height) in [
            ("telephone", 360, 800),
            ("laptop", 1366, 768),
            ("wall", 3840, 2160),
        ] {
            // every size and both themes are tried; every size in both themes where pictures are made
            let themes: &[bool] = match (&pictures, size) {
                (Some(_), _) => &[false, true],
                (None, "laptop") => &[true],
                (None, _) => &[false],
            };
            for &dark in themes {
                window.screen(width, height, dark);
                for (name, address) in screens {
                    // from elsewhere, so that what stands after # is read anew
                    window.go("about:blank");
                    window.go(&format!("{own}{address}"));
                    if address.starts_with("/take/") {
                        window.until(&format!("{INKED} > 0.01"));
                        window.until("window.seams.asked.size === 0");
                    }
                    let theme = if dark { "dark" } else { "light" };
                    let place = format!("{state} {name}, {size}, {theme}");
                    // the rules take a second a screen, and find nothing on a wall that they do not find on a laptop
                    if pictures.is_some() || size != "wall" {
                        let found = window.violations();
                        faults.extend(found.iter().map(|fault| format!("{place}: {fault}")));
                    }
                    let wide = window.ask("document.documentElement.scrollWidth");
                    if wide.as_f64().is_none_or(|wide| wide > f64::from(width)) {
                        faults.push(format!("{place} is {wide} wide on a screen of {width}"));
                    }
                    if let Some(folder) = &pictures {
                        let file = folder.join(format!("{state}-{name}-{size}-{theme}.png"));
                        window.picture(&file, (width, dark));
                        window.screen(width, height, dark);
                    }
                }
            }
        }
    };
    let mut empty = screens("none");
    empty.retain(|(name, _)| ["cards", "settings", "day", "prep"].contains(name));
    look("empty", &empty);
    assert_eq!(desk.post("/do/prep", &session_form(EXAMPLE)).status, 303);
    let name = desk.measured();
    desk.post("/do/build", "");
    desk.settle();
    desk.post("/do/first-roll", "");
    desk.settle();
    look("full", &screens(&name));
    faults.sort();
    faults.dedup();
    assert!(faults.is_empty(), "{faults:#?}");
    // 200 % zoom of a laptop's screen
    window.screen(683, 384, false);
    window.go(&format!("{own}/take/{name}"));
    let wide = window.ask("document.documentElement.scrollWidth").as_f64();
    assert!(wide.is_some_and(|wide| wide <= 683.0), "{wide:?}");
}
