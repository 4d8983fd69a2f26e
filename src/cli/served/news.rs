//! What somebody who follows a machine at the command line is told: everything once, when it
//! comes.

use crate::panel::told::{AnsweredBy, CauseTold, MachineTold, Stage, StateTold};

/// What is missing for a start is told once it has been the same so long, s: until the first
/// replies are in, everything is.
const MISSING_SETTLES_S: f64 = 2.0;

/// Remembers what was told.
#[derive(Debug, Default)]
pub(in crate::cli) struct News {
    /// Whether words that are typed are taken, and may be proposed.
    typed: bool,
    text: String,
    prompt: Option<String>,
    missing: (Vec<String>, f64, bool),
    trip: Option<CauseTold>,
    needs: Vec<String>,
    holds: Vec<CauseTold>,
    warnings: Vec<String>,
    setback: Option<String>,
    restart: Option<String>,
    asking: Option<String>,
    trouble: Option<String>,
}

impl News {
    /// For somebody who can type words as well.
    pub(in crate::cli) fn to_typist() -> Self {
        Self { typed: true, ..Self::default() }
    }

    /// Who asked for the seat has had an answer: whoever asks next is told again.
    pub(in crate::cli) fn seat_answered(&mut self) {
        self.asking = None;
    }

    /// What is new of the machine and of who commands it.
    pub(in crate::cli) fn of(&mut self, state: &StateTold) -> Vec<String> {
        let mut lines = self.of_machine(&state.machine);
        let asking = state.asking.clone().filter(|_| state.seat_is_yours);
        if let Some(who) = news(&mut self.asking, asking) {
            lines.push(format!(
                "{who} asks for the seat: type give or keep; no answer in 15 s gives it"
            ));
        }
        if let Some(why) = news(&mut self.trouble, state.record_trouble.clone()) {
            lines.push(format!("the record cannot be written, the run goes on: {why}"));
        }
        lines
    }

    /// What is new of the machine.
    pub(in crate::cli) fn of_machine(&mut self, machine: &MachineTold) -> Vec<String> {
        let mut lines = Vec::new();
        if self.text != machine.text {
            self.text.clone_from(&machine.text);
            lines.push(machine.text.clone());
        }
        if let Some(trip) = news(&mut self.trip, machine.trip.clone()) {
            lines.push(format!("!! tripped: {}", trip.what));
            lines.push(format!("   the machine did: {}", trip.done));
            lines.push(format!("   to do now: {}", trip.to_do));
            if self.typed {
                lines.push("   then type: acknowledge, and reset".to_owned());
            }
        }
        if machine.trip.is_some() && self.needs != machine.reset_needs {
            self.needs.clone_from(&machine.reset_needs);
            if !self.needs.is_empty() {
                lines.push(format!("   before a reset: {}", self.needs.join("; ")));
            }
        }
        for hold in added(&mut self.holds, &machine.holds) {
            lines.push(format!("!! held: {}", hold.what));
            lines.push(format!("   to do now: {}", hold.to_do));
        }
        for warning in added(&mut self.warnings, &machine.warnings) {
            lines.push(format!("!  {warning}"));
        }
        let waits = machine.stage == Stage::Idle && machine.prompt.is_none();
        lines.extend(self.missing(if waits { &machine.missing } else { &[] }, machine.at_s));
        if let Some(why) = news(&mut self.setback, machine.setback.clone()) {
            lines.push(format!("last time: {why}"));
        }
        let restart = machine.restart.clone().filter(|_| machine.stage == Stage::Held);
        if let Some(what) = news(&mut self.restart, restart) {
            lines.push(format!(">> type restart: {what}"));
        }
        let prompt = machine.prompt.as_ref();
        if let Some(ask) = news(&mut self.prompt, prompt.map(|prompt| prompt.ask.clone())) {
            let word = match prompt.map(|prompt| prompt.by).filter(|_| self.typed) {
                Some(AnsweredBy::Start) => " (or type start)",
                Some(AnsweredBy::Accept) => " (or type accept)",
                Some(AnsweredBy::Wet) => " (or type wet)",
                Some(AnsweredBy::Act) | None => "",
            };
            lines.push(format!(">> {ask}{word}"));
        }
        lines
    }

    fn missing(&mut self, missing: &[String], now_s: f64) -> Vec<String> {
        let (words, since_s, told) = &mut self.missing;
        if words != missing {
            (*words, *since_s, *told) = (missing.to_vec(), now_s, false);
        }
        if *told || words.is_empty() || now_s - *since_s < MISSING_SETTLES_S {
            return Vec::new();
        }
        *told = true;
        words.iter().map(|words| format!("not ready: {words}")).collect()
    }
}

/// What is there now and was not there before.
fn news<T: Clone + PartialEq>(before: &mut Option<T>, now: Option<T>) -> Option<T> {
    if *before == now {
        return None;
    }
    before.clone_from(&now);
    now
}

/// Those of a list that were not in it before.
fn added<T: Clone + PartialEq>(before: &mut Vec<T>, now: &[T]) -> Vec<T> {
    let new = now.iter().filter(|one| !before.contains(one)).cloned().collect();
    now.clone_into(before);
    new
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::panel::told::PromptTold;

    fn idle() -> MachineTold {
        MachineTold {
            at_s: 0.0,
            text: "Idle: not ready".to_owned(),
            stage: Stage::Idle,
            homes: false,
            prompt: None,
            missing: Vec::new(),
            trip: None,
            acknowledged: false,
            reset_needs: Vec::new(),
            holds: Vec::new(),
            warnings: Vec::new(),
            setback: None,
            restart: None,
            place: None,
            moves: false,
            came: None,
            taken: None,
            figures: String::new(),
        }
    }

    #[test]
    fn everything_is_told_once_and_again_when_it_comes_again() {
        let mut news = News::to_typist();
        assert_eq!(news.of_machine(&idle()), ["Idle: not ready"]);
        assert!(news.of_machine(&idle()).is_empty());
        let prompt =
            PromptTold { ask: "shut the guard".to_owned(), by: AnsweredBy::Accept, left_s: None };
        let asked = MachineTold { prompt: Some(prompt), ..idle() };
        assert_eq!(news.of_machine(&asked), [">> shut the guard (or type accept)"]);
        assert!(news.of_machine(&asked).is_empty());
        assert!(news.of_machine(&idle()).is_empty());
        assert_eq!(news.of_machine(&asked).len(), 1, "asked again");
        assert_eq!(News::default().of_machine(&asked).last().unwrap(), ">> shut the guard");
    }

    #[test]
    fn what_is_missing_is_told_once_it_has_settled() {
        let mut news = News::default();
        let missing =
            |at_s| MachineTold { at_s, missing: vec!["Turn the key.".to_owned()], ..idle() };
        assert_eq!(news.of_machine(&missing(0.0)), ["Idle: not ready"]);
        assert!(news.of_machine(&missing(1.0)).is_empty());
        assert_eq!(news.of_machine(&missing(2.0)), ["not ready: Turn the key."]);
        assert!(news.of_machine(&missing(9.0)).is_empty());
    }

    #[test]
    fn a_trip_is_told_with_what_was_done_and_what_to_do_and_what_a_reset_waits_for() {
        let mut news = News::default();
        news.of_machine(&idle());
        let cause = CauseTold {
            what: "flame lost".to_owned(),
            done: "gas shut".to_owned(),
            to_do: "look at the torch".to_owned(),
        };
        let tripped = MachineTold {
            trip: Some(cause),
            stage: Stage::Tripped,
            reset_needs: vec!["acknowledge".to_owned()],
            ..idle()
        };
        let told = news.of_machine(&tripped).join("\n");
        for words in ["flame lost", "gas shut", "look at the torch", "before a reset"] {
            assert!(told.contains(words), "{told}");
        }
        let waits = MachineTold { reset_needs: vec!["purge".to_owned()], ..tripped };
        assert_eq!(news.of_machine(&waits), ["   before a reset: purge"]);
    }
}
