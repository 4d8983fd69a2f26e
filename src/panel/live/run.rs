//! The live values that every page shows, and those of the page Run.

use std::sync::Arc;

use evenpass_core::image::{Analogue, Contact, Inputs, Kind, Level, Referenced};
use evenpass_core::interlock::{PermissiveState, PressureWindow};
use evenpass_core::plan::forecast::clock;
use evenpass_core::program::{Program, Step, TorchPlan};
use evenpass_core::quantity::{Length, Pressure, Speed, Temperature, Time, fixed};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase, crossing_time};
use maud::{Markup, html};

use super::Values;
use super::alert::{alert, prompt};
use super::part::Sheet;
use super::scales::{Scale, Window};
use crate::panel::app::{App, locked};
use crate::panel::page::batches;
use crate::panel::page::layout::{self, button};
use crate::panel::visitor::Visitor;
use crate::panel::{set_up, texts};
use crate::people::{NOT_SIGNED_IN, Role, Units};
use crate::record::RunId;
use crate::station::Loaded;

/// What every page shows: the state, what a person is asked, a trip, the seat, the record.
pub(super) fn always(app: &App, visitor: &Visitor, values: &mut Values) {
    let station = app.station();
    let snapshot = station.snapshot();
    let status = &snapshot.status;
    let units = visitor.units;
    values.text("state", units.restate(&status.text));
    values.mark("state.mark", state_mark(&snapshot));
    let (seat, turn) = station.seat(|seat, _| (layout::seat(seat, visitor), seat.turn()));
    values.html("seat", seat);
    values.text("turn", turn.to_string());
    values.html("alert", alert(&snapshot, units));
    values.html("prompt", prompt(&snapshot, set_up::stands(app), units));
    let left = status.prompt.and_then(|prompt| prompt.until).map(|until| until.since(snapshot.at));
    values.text(
        "prompt.left",
        left.map_or_else(String::new, |left| {
            format!("{} {}", texts::ANSWER_WITHIN, clock(Time::from_duration(left)))
        }),
    );
    let kept = station.kept();
    values.html(
        "record",
        html! {
            @if let Some(trouble) = &kept.trouble {
                p.trouble role="alert" { (texts::NOT_KEPT) ": " (trouble) }
            }
            @if visitor.role == Role::Engineer {
                @if let Some(trouble) = app.roll_trouble() {
                    p.trouble role="alert" { (texts::PEOPLE_NOT_READ) ": " (trouble) }
                }
            }
        },
    );
    let restarts = matches!(status.phase, Phase::Held) && status.restart.is_some();
    values.mark("restart", if restarts { "ready" } else { "off" });
    let restart = status.restart.as_deref().unwrap_or_default();
    values.text("restart.what", units.restate(restart));
}

/// Of what kind the state is: what is normal stays grey.
fn state_mark(snapshot: &Snapshot) -> &'static str {
    match snapshot.status.phase {
        Phase::Aborting | Phase::Aborted => "tripped",
        Phase::Holding | Phase::Held | Phase::Stopping => "held",
        _ if snapshot.verdict.warnings.is_empty() => "normal",
        _ => "warned",
    }
}

/// How far a job is: what is to be seen first depends on it.
pub(in crate::panel) fn stage(snapshot: &Snapshot) -> &'static str {
    match snapshot.status.phase {
        Phase::Idle | Phase::Manual => "before",
        Phase::Complete | Phase::Stopped => "ended",
        _ => "under-way",
    }
}

/// What the page Run shows besides.
pub(super) fn page(app: &App, visitor: &Visitor, values: &mut Values) {
    let station = app.station();
    let snapshot = station.snapshot();
    let units = visitor.units;
    values.mark("stage", stage(&snapshot));
    values.html("permissives", permissives(&snapshot, units));
    let loaded = station.loaded();
    let program = loaded.as_ref().map(|loaded| &loaded.plan.program);
    values.html("scales", scales(&snapshot, program, units));
    values.html("figures", figures(&snapshot, program, units));
    values.html("acts", acts(&snapshot));
    let order = app.order();
    let told_of = order.as_ref().and_then(|order| order.told_of());
    values.html("batch", order.as_ref().map_or_else(|| html! {}, |order| batches::block(order)));
    values.mark("batch.telling", if told_of.is_some() { "order" } else { "none" });
    values.html("batch.of", told_of.map_or_else(|| html! {}, batches::forms::of_batch));
    let goes_on = loaded.as_ref().and_then(|loaded| loaded.goes_on.as_ref());
    let undone = app.undone().filter(|undone| goes_on.is_none_or(|on| on.run != undone.run));
    values.html("undone", undone.map_or_else(|| html! {}, |one| waiting(&one.run)));
    if let Some(loaded) = &loaded {
        values.mark("set-up", set_up::stands(app).mark());
        values.html("set-up.checked", checked(app, loaded));
        values.text("recipe.newer", app.newer(loaded).unwrap_or_default());
        let sheet = Sheet::of(loaded);
        let progress = snapshot.status.progress.as_ref();
        let done = progress.and_then(|at| at.pass).map_or(0, |(pass, _)| pass.saturating_sub(1));
        let zone = progress.and_then(|at| at.zone.as_deref());
        values.html("part.predicted", sheet.predicted(zone, done));
        if let Some(coat) = station.coat() {
            values.html("part.coat", sheet.coat(&coat));
        }
        values.html("part.torch", sheet.torch(&snapshot, units));
    }
}

/// That a run waits for somebody to decide about its part.
fn waiting(run: &RunId) -> Markup {
    html! {
        p role="status" {
            span.sign aria-hidden="true" { "\u{25b2}" }
            (texts::RUN) " " (run) " " (texts::UNDONE_WAITS) ". "
            a.button href="/undone" { (texts::UNDONE_LOOK) }
        }
    }
}

/// Who has checked the set-up of the loaded job, and when.
fn checked(app: &App, loaded: &Arc<Loaded>) -> Markup {
    let checked = locked(&app.inside.checked);
    let Some((who, when)) = checked.as_ref().and_then(|checked| checked.of(loaded)) else {
        return html! {};
    };
    html! {
        span.sign aria-hidden="true" { "\u{2713}" }
        @let who = if who == NOT_SIGNED_IN { texts::SOMEBODY_HERE } else { who };
        (texts::SET_UP_CHECKED) " " (who) ", " (when.strftime("%Y-%m-%d %H:%M"))
    }
}

/// What must be so before a start, what is missing first.
fn permissives(snapshot: &Snapshot, units: Units) -> Markup {
    let idle = matches!(snapshot.status.phase, Phase::Idle | Phase::Manual);
    let missing = snapshot.permissives.iter().filter(|one| one.state == PermissiveState::Missing);
    let given = snapshot.permissives.iter().filter(|one| one.state == PermissiveState::Given);
    html! {
        @if idle {
            @for one in missing {
                li data-mark="missing" {
                    span.sign aria-hidden="true" { "\u{2715}" }
                    strong { (one.title) } " " (units.restate(&one.found)) " " em { (units.restate(one.look)) }
                }
            }
            @for words in &snapshot.status.missing {
                @if !snapshot.permissives.iter().any(|one| one.look == *words) {
                    li data-mark="missing" { span.sign aria-hidden="true" { "\u{2715}" } (units.restate(words)) }
                }
            }
            li.given { span.sign aria-hidden="true" { "\u{2713}" } (given.count()) " " (texts::GIVEN) }
        }
    }
}

/// The step in hand.
fn step<'a>(snapshot: &Snapshot, program: Option<&'a Program>) -> Option<&'a Step> {
    let at = snapshot.status.progress.as_ref()?.step.checked_sub(1)?;
    program?.steps.get(at)
}

fn value(inputs: &Inputs, tag: Analogue) -> Option<f64> {
    let signal = inputs.analogue(tag);
    (signal.kind == Kind::Measured).then_some(signal.value)
}

/// Temperature and pressures against their windows.
fn scales(snapshot: &Snapshot, program: Option<&Program>, units: Units) -> Markup {
    let inputs = &snapshot.inputs;
    let step = step(snapshot, program);
    let torch = torch_of(step, program);
    // Before there is heat, and after the job, no window is in force.
    let step = step.filter(|step| has_window(snapshot.status.phase, step));
    let (tag, name, window, top) = match step {
        Some(Step::Fuse(fuse)) => {
            let window = Window::between(fuse.window.low.celsius(), fuse.ceiling.celsius());
            (Analogue::FuseTemperature, texts::COAT_TEMPERATURE, Some(window), 1250.0)
        }
        Some(Step::Spray(spray)) => {
            let window = Window::between(spray.window.low.celsius(), spray.window.high.celsius());
            (Analogue::PartTemperature, texts::PART_TEMPERATURE, Some(window), 500.0)
        }
        Some(Step::Preheat(preheat)) => {
            let window =
                Window::between(preheat.window.low.celsius(), preheat.window.high.celsius());
            (Analogue::PartTemperature, texts::PART_TEMPERATURE, Some(window), 500.0)
        }
        _ => (Analogue::PartTemperature, texts::PART_TEMPERATURE, None, 500.0),
    };
    let celsius = |value: f64| units.temperature(Temperature::from_celsius(value));
    let found = value(inputs, tag);
    let temperature = Scale {
        name,
        value: found,
        window,
        ends: (0.0, top),
        words: found.map_or_else(|| texts::NOT_KNOWN.to_owned(), celsius),
        window_words: window.map_or_else(String::new, |window| window.words(celsius)),
    };
    let windows = &snapshot.windows;
    let pressure = |tag, name, set: Option<Pressure>, window: PressureWindow| {
        let found = value(inputs, tag);
        let bar = |value: f64| units.pressure(Pressure::from_bar(value));
        // While the gas is shut nothing is asked of its pressure.
        let lit = snapshot.status.phase.is_running()
            && snapshot.outputs.coil(evenpass_core::image::Coil::Fuel) == Level::On;
        let ends = [window.low, window.high].map(|end| end.map(Pressure::bar));
        let window = Window::of(ends).filter(|_| lit && set.is_some());
        Scale {
            name,
            value: found,
            window,
            ends: (0.0, set.map_or(4.0, |set| set.bar() * 1.6)),
            words: found.map_or_else(|| texts::NOT_KNOWN.to_owned(), bar),
            window_words: window.map_or_else(String::new, |window| window.words(bar)),
        }
    };
    html! {
        (temperature.line())
        (pressure(Analogue::FuelPressure, texts::FUEL, torch.map(|t| t.fuel_pressure), windows.fuel).line())
        (pressure(Analogue::OxygenPressure, texts::OXYGEN, torch.map(|t| t.oxygen_pressure), windows.oxygen).line())
        (pressure(Analogue::CarrierPressure, texts::CARRIER, torch.map(|t| t.carrier_pressure), windows.carrier).line())
    }
}

/// Whether the temperature is to be in the window of the step in hand, or on its way into it.
const fn has_window(phase: Phase, step: &Step) -> bool {
    match phase {
        Phase::Preheating | Phase::Spraying | Phase::Fusing => true,
        Phase::Holding | Phase::Held => !matches!(step, Step::Preheat(_)),
        _ => false,
    }
}

fn torch_of<'a>(step: Option<&Step>, program: Option<&'a Program>) -> Option<&'a TorchPlan> {
    let index = match step {
        Some(Step::Preheat(step)) => step.torch,
        Some(Step::Spray(step)) => step.torch,
        Some(Step::Fuse(step)) => step.torch,
        _ => 0,
    };
    program?.torches.get(index)
}

/// How long the job still takes by its own figures. The core counts the pass in hand as a whole; what
/// of it is crossed is done.
fn time_left(snapshot: &Snapshot, program: Option<&Program>) -> Time {
    let status = &snapshot.status;
    let left = status.left.passes + status.left.later;
    let axis = &snapshot.inputs.axis;
    let known = axis.kind == Kind::Measured && axis.value.referenced == Referenced::Yes;
    let number = status.progress.as_ref().and_then(|at| at.pass).map(|(number, _)| number);
    match (step(snapshot, program), number) {
        (Some(Step::Spray(spray)), Some(number)) if known && status.leaf == Leaf::Crossing => {
            let pass = number.checked_sub(1).and_then(|index| spray.passes.get(index));
            let done = pass
                .map(|pass| crossing_time(pass) * crossed(pass.from, pass.to, axis.value.position));
            (left - done.unwrap_or(Time::ZERO)).max(Time::ZERO)
        }
        _ => left,
    }
}

/// How much of the way from one place to another is done.
fn crossed(from: Length, to: Length, at: Length) -> f64 {
    let way = (to - from).mm();
    if way == 0.0 { 1.0 } else { ((at - from).mm() / way).clamp(0.0, 1.0) }
}

/// The figures of a run: place, feed, spindle, powder, time.
fn figures(snapshot: &Snapshot, program: Option<&Program>, units: Units) -> Markup {
    let inputs = &snapshot.inputs;
    let status = &snapshot.status;
    let axis = &inputs.axis;
    let known = axis.kind == Kind::Measured;
    let place = (known && axis.value.referenced == Referenced::Yes)
        .then(|| units.length(axis.value.position));
    let feed = known.then(|| units.feed(Speed::from_mm_per_s(axis.value.velocity.mm_per_s())));
    let turns = (inputs.spindle.kind == Kind::Measured)
        .then(|| fixed(inputs.spindle.value.measured.rpm(), 1));
    // The unit stands once, or the two would not stay on one line.
    let wanted = match (status.spindle, &turns) {
        (Some(wanted), _) => format!("{} {} rpm", texts::OF, fixed(wanted.rpm(), 1)),
        (None, Some(_)) => "rpm".to_owned(),
        (None, None) => String::new(),
    };
    let powder =
        value(inputs, Analogue::HopperWeight).map(|grams| format!("{} g", fixed(grams, 0)));
    let level = |on: Level| if on.is_on() { texts::ON } else { texts::OFF };
    let flame = inputs.contact(Contact::Flame);
    let flame = (flame.kind == Kind::Measured).then(|| level(flame.value).to_owned());
    let ended = matches!(status.phase, Phase::Stopping | Phase::Stopped | Phase::Complete);
    let left = if ended { Time::ZERO } else { time_left(snapshot, program) };
    let pass = status.progress.as_ref().and_then(|at| at.pass);
    let or = |words: Option<String>| words.unwrap_or_else(|| texts::NOT_KNOWN.to_owned());
    let rows = [
        (texts::PLACE, or(place), String::new()),
        (texts::FEED, or(feed), String::new()),
        (texts::SPINDLE, or(turns), wanted),
        (texts::FLAME, or(flame), String::new()),
        (texts::POWDER, level(snapshot.outputs.powder.now).to_owned(), or(powder)),
        (
            texts::PASS,
            pass.map_or_else(
                || "\u{2013}".to_owned(),
                |(pass, of)| format!("{pass} {} {of}", texts::OF),
            ),
            String::new(),
        ),
        (
            texts::TIME_LEFT,
            if left > Time::ZERO { clock(left) } else { "\u{2013}".to_owned() },
            String::new(),
        ),
    ];
    html! {
        @for (name, value, beside) in rows {
            div.figure { dt { (name) } dd { (value) " " small { (beside) } } }
        }
    }
}

/// What may be asked now besides hold, restart and stop.
fn acts(snapshot: &Snapshot) -> Markup {
    let status = &snapshot.status;
    let phase = status.phase;
    let pending = status.hold_after_pass.is_on();
    html! {
        @if phase == Phase::Spraying {
            (button("hold-after-pass", if pending { texts::HOLDS_AFTER_PASS } else { texts::HOLD_AFTER_PASS }, "plain"))
        }
        @if let Some(zone) = &status.in_hand {
            @if matches!(phase, Phase::Spraying | Phase::Holding | Phase::Held) {
                (layout::button_with("trim", "-1", texts::TRIM_SLOWER))
                (layout::button_with("trim", "1", texts::TRIM_FASTER))
                (button("touch-up", texts::TOUCH_UP, "plain"))
                @if zone.added_ahead > 0 {
                    (button("pass-less", texts::PASS_LESS, "plain"))
                }
            }
            p.in-hand { (texts::IN_HAND) ": " (zone) }
        }
        @if phase.is_running() {
            (button("bad-flame", texts::BAD_FLAME, "plain"))
            (button("coat-lifting", texts::COAT_LIFTING, "plain"))
        }
        @if phase == Phase::Idle && status.missing == [evenpass_core::scan::NO_DATUM] {
            (button("home", texts::HOME, "wanted"))
        }
        @if matches!(phase, Phase::Complete | Phase::Stopped) {
            div.act { (button("reset", texts::LEAVE_JOB, "wanted")) p { (texts::LEAVE_JOB_FOR) } }
        }
        @if matches!(phase, Phase::Idle | Phase::Held) {
            (button("blasted-now", texts::BLASTED_NOW, "plain"))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_crossed_of_a_pass_grows_with_the_way_whichever_it_is_and_stays_between_none_and_all()
    {
        let share = |from, to, at| {
            let [from, to, at] = [from, to, at].map(Length::from_mm);
            crossed(from, to, at)
        };
        for (from, to, at, wanted) in [
            (80.0, 240.0, 80.0, 0.0),
            (80.0, 240.0, 120.0, 0.25),
            (240.0, 80.0, 120.0, 0.75),
            (80.0, 240.0, 60.0, 0.0),
            (240.0, 80.0, 60.0, 1.0),
            (80.0, 80.0, 80.0, 1.0),
        ] {
            assert!((share(from, to, at) - wanted).abs() < 1e-9, "{from} to {to} at {at}");
        }
    }
}
