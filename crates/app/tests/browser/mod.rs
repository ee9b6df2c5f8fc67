//! A real browser without a window, driven over its debugging protocol: pages opened, clicked, typed into, measured and
//! photographed. A browser that is not there fails the test.
#![allow(dead_code, reason = "each test binary uses its part")]

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use engine::output::{Replace, write_bytes};
use headless_chrome::protocol::cdp::Emulation::{
    MediaFeature, SetDeviceMetricsOverride, SetEmulatedMedia,
};
use headless_chrome::protocol::cdp::Page::CaptureScreenshotFormatOption;
use headless_chrome::{Browser, LaunchOptions, Tab};
use serde_json::Value;

/// How long anything may take to appear.
const PATIENCE: Duration = Duration::from_secs(120);

/// The highest picture, pixels.
const HIGHEST: u32 = 9000;

/// A browser with one page.
pub struct Window {
    pub tab: Arc<Tab>,
    _browser: Browser,
}

impl Window {
    pub fn open() -> Self {
        let options = LaunchOptions {
            path: Some(chromium()),
            sandbox: false,
            window_size: Some((1280, 900)),
            idle_browser_timeout: Duration::from_secs(600),
            ..LaunchOptions::default()
        };
        let browser = Browser::new(options).expect("Chromium starts");
        let tab = browser.new_tab().expect("a page");
        tab.set_default_timeout(PATIENCE);
        Self {
            tab,
            _browser: browser,
        }
    }

    /// A screen of that size, light or dark.
    pub fn screen(&self, width: u32, height: u32, dark: bool) {
        let metrics = SetDeviceMetricsOverride {
            width,
            height,
            device_scale_factor: 1.0,
            mobile: width < 600,
            scale: None,
            screen_width: None,
            screen_height: None,
            position_x: None,
            position_y: None,
            dont_set_visible_size: None,
            screen_orientation: None,
            viewport: None,
            display_feature: None,
            device_posture: None,
        };
        self.tab.call_method(metrics).expect("a size");
        let theme = MediaFeature {
            name: "prefers-color-scheme".into(),
            value: if dark { "dark" } else { "light" }.into(),
        };
        let media = SetEmulatedMedia {
            media: None,
            features: Some(vec![theme]),
        };
        self.tab.call_method(media).expect("a theme");
    }

    /// Goes to an address and waits for the page.
    pub fn go(&self, address: &str) {
        self.tab.navigate_to(address).expect("an address");
        self.tab.wait_until_navigated().expect("a page");
    }

    /// What a script comes to.
    pub fn ask(&self, script: &str) -> Value {
        let found = self.tab.evaluate(script, true);
        let found = found.unwrap_or_else(|error| panic!("{script}: {error}"));
        found.value.unwrap_or(Value::Null)
    }

    /// Waits until a script says yes.
    pub fn until(&self, script: &str) {
        let began = Instant::now();
        loop {
            // a page that is just being loaded has no answer
            if let Ok(found) = self.tab.evaluate(script, true)
                && found.value == Some(Value::Bool(true))
            {
                return;
            }
            if began.elapsed() > PATIENCE {
                let page = self.ask("document.body.innerText");
                panic!("never came true: {script}; the page says {page}");
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits for words on the page.
    pub fn until_said(&self, words: &str) {
        let words = Value::from(words);
        self.until(&format!("document.body.innerText.includes({words})"));
    }

    /// Clicks what a selector finds first, as a mouse does.
    pub fn click(&self, selector: &str) {
        let element = self.tab.wait_for_element(selector);
        let element = element.unwrap_or_else(|error| panic!("{selector}: {error}"));
        element.scroll_into_view().expect("in view");
        element.click().expect("clicked");
    }

    /// Clicks a link or a button by its words.
    pub fn press(&self, words: &str) {
        let quoted = Value::from(words);
        let find = format!(
            "[...document.querySelectorAll('a, button')].find((one) => one.textContent.trim() === {quoted} && \
             one.offsetParent !== null)"
        );
        self.until(&format!("{find} !== undefined"));
        self.ask(&format!("{find}.setAttribute('data-pressed', 'here')"));
        self.click("[data-pressed='here']");
        let _ = self.tab.evaluate(
            "document.querySelector('[data-pressed]')?.removeAttribute('data-pressed')",
            false,
        );
    }

    /// Goes on with the tabulator until what has the focus has these words or this name.
    pub fn tab_to(&self, words: &str) {
        let quoted = Value::from(words);
        for _ in 0..400 {
            self.tab.press_key("Tab").expect("a key");
            let there = self.ask(&format!(
                "(() => {{ const one = document.activeElement; return one.textContent.trim() === {quoted} || \
                 one.getAttribute('name') === {quoted} || one.getAttribute('aria-label') === {quoted} || \
                 one.tagName.toLowerCase() === {quoted}; }})()"
            ));
            if there == Value::Bool(true) {
                return;
            }
        }
        panic!("{words} cannot be reached with the tabulator");
    }

    /// A picture of the whole page, on a screen that is as high as it.
    pub fn picture(&self, file: &Path, (width, dark): (u32, bool)) {
        let height = self.ask("document.documentElement.scrollHeight");
        let height = height.as_f64().expect("a height") as u32;
        self.screen(width, height.min(HIGHEST), dark);
        std::thread::sleep(Duration::from_millis(200));
        let png = CaptureScreenshotFormatOption::Png;
        let picture = self.tab.capture_screenshot(png, None, None, true);
        write_bytes(file, &picture.expect("a picture"), Replace::Yes).expect("written");
    }

    /// What the accessibility rules of axe-core find fault with, in words.
    pub fn violations(&self) -> Vec<String> {
        let path = root().join("tools/web/node_modules/axe-core/axe.min.js");
        let axe = std::fs::read_to_string(&path);
        let axe =
            axe.unwrap_or_else(|error| panic!("{}: {error}; ./check installs it", path.display()));
        self.tab.evaluate(&axe, false).expect("axe is loaded");
        let found = self.ask(
            "axe.run(document, { resultTypes: ['violations'] }).then((found) => JSON.stringify(found.violations.map((one) => \
             `${one.id}: ${one.help}: ${one.nodes.slice(0, 3).map((node) => node.html).join(' | ')}`)))",
        );
        serde_json::from_str(found.as_str().expect("a list")).expect("JSON")
    }
}

/// Where the repository is.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn chromium() -> PathBuf {
    ["/usr/bin/chromium", "/usr/bin/chromium-browser"]
        .into_iter()
        .map(PathBuf::from)
        .find(|path| path.exists())
        .expect("Chromium is there; ./check installs it")
}
