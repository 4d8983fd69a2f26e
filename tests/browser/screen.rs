//! A browser as a person uses it: reads words, presses buttons that can be seen and reached.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource as _, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};
use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Map, Value, json};

use crate::driver::Driver;
use crate::scene::{Hand, OPERATOR, Scene};

/// How long a person tries to press a button that is not there yet.
const PRESSED_WITHIN: Duration = Duration::from_secs(15);
/// Between two looks.
const LOOK: Duration = Duration::from_millis(50);
/// Arguments of the browser: no window, no sandbox (in a container there is none to be had), and
/// nothing of its own over the network.
const ARGUMENTS: [&str; 7] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
];

/// A browser.
pub(crate) struct Screen {
    pub(crate) client: Client,
    driver: Driver,
    session: String,
    base: String,
}

impl Screen {
    /// A browser that shows the scene's panel.
    pub(crate) async fn of(scene: &Scene) -> Self {
        Self::at(&format!("http://{}", scene.at)).await
    }

    /// One before which an operator has the short job loaded and ready, on a twin so many times
    /// faster than life.
    pub(crate) async fn before_the_short_job(scene: &Scene, pace: f64) -> Self {
        let screen = Self::of(scene).await;
        screen.sign_in(OPERATOR).await;
        screen.take_seat().await;
        screen.load("short-job.toml", "Short job: test ring").await;
        screen.make_ready(240.0 / pace).await;
        screen
    }

    /// A browser that reaches the panel at an address.
    pub(crate) async fn at(base: &str) -> Self {
        let driver = Driver::start();
        let mut wanted = Map::new();
        wanted.insert("goog:chromeOptions".to_owned(), json!({ "args": ARGUMENTS }));
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(wanted)
            .connect(&driver.address())
            .await
            .expect("a browser");
        let session = client.session_id().await.expect("a session").expect("its name");
        let screen = Self { client, driver, session, base: base.to_owned() };
        screen.size(1280, 800).await;
        screen
    }

    /// Ends the browser in order.
    pub(crate) async fn end(self) {
        self.client.close().await.expect("a browser that ends");
    }

    /// Asks the browser for something of its own protocol.
    pub(crate) async fn browser(&self, command: &str, parameters: Value) -> Value {
        self.driver.browser(&self.session, command, parameters).await
    }

    /// Another size of the panel's screen.
    pub(crate) async fn size(&self, width: u32, height: u32) {
        let size = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false
        });
        self.browser("Emulation.setDeviceMetricsOverride", size).await;
    }

    /// What a script gives.
    pub(crate) async fn script(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.expect("a script that runs")
    }

    /// Goes to a page of the panel.
    pub(crate) async fn go(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.base)).await.expect("a page");
    }

    /// Signs somebody in.
    pub(crate) async fn sign_in(&self, hand: Hand) {
        self.go("/").await;
        for (field, text) in [("name", hand.name), ("pin", hand.pin)] {
            let field = format!("input[name=\"{field}\"]");
            let found = self.client.find(Locator::Css(&field)).await.expect("a field");
            found.send_keys(text).await.expect("typed");
        }
        self.press("form[action=\"/sign-in\"] button").await;
        self.until("header .who", 15.0, |who| who.contains(hand.name)).await;
    }

    /// Presses a button that asks something of the controller.
    pub(crate) async fn ask(&self, what: &str) {
        self.press(&format!("button[data-ask=\"{what}\"]")).await;
    }

    /// Takes the seat, and waits until it is taken.
    pub(crate) async fn take_seat(&self) {
        self.press("button[data-seat=\"take\"]").await;
        self.until("[data-live=\"seat\"]", 5.0, |seat| seat.contains("You command")).await;
    }

    /// Does something at the twin's bench; its page is open.
    pub(crate) async fn bench(&self, act: &str) {
        let row = format!("form[data-post=\"/bench\"]:has(input[value=\"{act}\"]) button");
        self.press(&row).await;
    }

    /// Loads a recipe, from the page with the recipes to the page Run.
    pub(crate) async fn load(&self, recipe: &str, title: &str) {
        self.go("/recipes").await;
        let row = format!("form[data-post=\"/load\"]:has(input[value=\"{recipe}\"]) button");
        self.press(&row).await;
        self.until("main", 30.0, |main| main.contains(title) && main.contains("Forecast")).await;
    }

    /// Turns the key on and finds the datum, all at the twin's bench; the seat is taken.
    pub(crate) async fn make_ready(&self, seconds: f64) {
        self.go("/bench").await;
        self.bench("key-on").await;
        self.until("[data-live=\"bench\"]", 10.0, |bench| has_figure(bench, "Key", "on")).await;
        self.go("/").await;
        self.ask("home").await;
        self.until(".prompt", 10.0, |prompt| prompt.contains("find its datum")).await;
        self.ask("start").await;
        self.until(".prompt", seconds, |prompt| prompt.contains("everything is ready")).await;
        self.check_set_up().await;
    }

    /// Ticks every line of the set-up, and says that it is checked; the page Run is open.
    pub(crate) async fn check_set_up(&self) {
        let lines = Locator::Css(".set-up input[type=\"checkbox\"]");
        for line in self.client.find_all(lines).await.expect("a list") {
            line.click().await.expect("ticked");
        }
        self.press(".set-up form button").await;
        let checked = "[data-live=\"set-up.checked\"]";
        self.until(checked, 5.0, |words| words.contains("checked by")).await;
    }

    /// Presses what a person would: it must be there, be seen, and have nothing in front of it.
    /// What is replaced just then is looked for anew.
    pub(crate) async fn press(&self, css: &str) {
        let give_up = Instant::now() + PRESSED_WITHIN;
        loop {
            let pressed = match self.client.find(Locator::Css(css)).await {
                Ok(button) => button.click().await,
                Err(trouble) => Err(trouble),
            };
            match pressed {
                Ok(()) => return,
                Err(trouble) if Instant::now() < give_up && may_pass(&trouble) => {
                    tokio::time::sleep(LOOK).await;
                }
                Err(trouble) => {
                    self.tell(&format!("`{css}` cannot be pressed: {trouble}")).await;
                }
            }
        }
    }

    /// Presses it if it is there now.
    pub(crate) async fn press_if_there(&self, css: &str) -> bool {
        match self.client.find(Locator::Css(css)).await {
            Ok(button) => button.click().await.is_ok(),
            Err(_) => false,
        }
    }

    /// An element by a style sheet's word.
    pub(crate) async fn element(&self, css: &str) -> Element {
        self.until_there(css, 15.0).await;
        self.client.find(Locator::Css(css)).await.expect("it is there")
    }

    /// Whether there is such an element now.
    pub(crate) async fn is_there(&self, css: &str) -> bool {
        let look = format!("return document.querySelector({}) !== null", json!(css));
        self.script(&look).await == Value::Bool(true)
    }

    /// Waits until there is such an element.
    pub(crate) async fn until_there(&self, css: &str, seconds: f64) {
        let give_up = Instant::now() + Duration::from_secs_f64(seconds);
        while !self.is_there(css).await {
            if Instant::now() >= give_up {
                self.tell(&format!("`{css}` never came")).await;
            }
            tokio::time::sleep(LOOK).await;
        }
    }

    /// Presses the mouse's button on something, and keeps it pressed.
    pub(crate) async fn hold(&self, css: &str) {
        let element = self.element(css).await;
        let to = PointerAction::MoveToElement { element, duration: None, x: 0.0, y: 0.0 };
        let down = PointerAction::Down { button: MOUSE_BUTTON_LEFT };
        let mouse = MouseActions::new("mouse".to_owned()).then(to).then(down);
        self.client.perform_actions(mouse).await.expect("held");
    }

    /// Lets the mouse's button go.
    pub(crate) async fn let_go(&self) {
        let up = PointerAction::Up { button: MOUSE_BUTTON_LEFT };
        let mouse = MouseActions::new("mouse".to_owned()).then(up);
        self.client.perform_actions(mouse).await.expect("let go");
    }

    /// The words of an element as they are seen; nothing where it is not there.
    pub(crate) async fn words(&self, css: &str) -> String {
        let script = format!(
            "return Array.from(document.querySelectorAll({}), (one) => one.innerText).join('\\n')",
            json!(css)
        );
        self.script(&script).await.as_str().unwrap_or_default().to_owned()
    }

    /// Waits until the words of an element are as wanted, and gives them.
    pub(crate) async fn until(&self, css: &str, seconds: f64, so: impl Fn(&str) -> bool) -> String {
        let give_up = Instant::now() + Duration::from_secs_f64(seconds);
        loop {
            let words = self.words(css).await;
            if so(&words) {
                return words;
            }
            if Instant::now() >= give_up {
                let told = format!("what was waited for in `{css}` never came; it says:\n{words}");
                self.tell(&told).await;
            }
            tokio::time::sleep(LOOK).await;
        }
    }

    /// Fails, with all that the page says and a picture of it.
    pub(crate) async fn tell(&self, what: &str) -> ! {
        let words = self.words("body").await;
        let picture = std::env::temp_dir().join(format!("panel-{}.png", std::process::id()));
        let picture = self.picture(picture).await;
        panic!("{what}\n--- the page says:\n{words}\n--- picture: {}", picture.display());
    }

    /// Writes a picture of what is seen.
    pub(crate) async fn picture(&self, to: PathBuf) -> PathBuf {
        let picture = self.client.screenshot().await.expect("a picture");
        std::fs::write(&to, picture).expect("written");
        to
    }
}

/// Whether a list of figures, each its name and below it its value, has one so.
pub(crate) fn has_figure(words: &str, name: &str, value: &str) -> bool {
    let lines: Vec<&str> = words.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    lines.windows(2).any(|pair| pair[0] == name && pair[1] == value)
}

/// Whether a button that cannot be pressed now may be in a moment.
fn may_pass(trouble: &CmdError) -> bool {
    trouble.is_no_such_element()
        || trouble.is_stale_element_reference()
        || trouble.is_element_not_interactable()
        || trouble.to_string().contains("click intercepted")
}
