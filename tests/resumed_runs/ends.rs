//! Every end of a journal has an answer: cut anywhere, with entries missing, doubled or torn.

use evenpass::embed;
use evenpass_core::ledger::Entry;
use evenpass_core::plan::plan;
use evenpass_core::quantity::{Length, Time};
use evenpass_core::resume::{Stood, Waited, before, go_on, offer, read};
use evenpass_core::sequence::Phase;
use serde_json::{Value, json};

use super::cut::Running;
use super::runs::Dice;
use super::support::jobs::Texts;

fn torn(entry: &Entry, how: u8) -> Entry {
    let mut entry = entry.clone();
    if let Value::Object(fields) = &mut entry.data
        && let Some(key) = fields.keys().nth(usize::from(how) % fields.len().max(1)).cloned()
    {
        let value = match how % 5 {
            0 => Value::Null,
            1 => json!("NaN mm"),
            2 => json!(1e300),
            3 => json!(-7),
            _ => json!(["x"]),
        };
        fields.insert(key, value);
    }
    entry
}

#[test]
fn every_end_of_a_journal_has_an_answer_however_torn_it_is() {
    let job = Texts::of("short-job").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let bench = embed::bench(&job, &plan, 1).expect("the bench takes the part");
    let mut run = Running::new(&job, &plan, bench);
    assert_eq!(run.finish(), Phase::Complete);
    let all = run.entries;
    let mut dice = Dice(7);
    let (mut planned, mut refused) = (0, 0);
    for case in 0..200 {
        let mut below = |count: usize| (dice.share() * count as f64) as usize;
        let mut kept: Vec<Entry> = all[..below(all.len() + 1)].to_vec();
        for _ in 0..below(12) {
            let (index, how) = (below(kept.len().max(1)), below(256) as u8);
            if let Some(entry) = kept.get_mut(index) {
                *entry = torn(entry, how);
            }
        }
        for _ in 0..below(40) {
            let index = below(kept.len().max(1));
            if index < kept.len() {
                kept.remove(index);
            }
        }
        let stood = match below(3) {
            0 => None,
            1 => Some(Stood::Powered(Length::from_mm(540.0 + below(60) as f64))),
            _ => Some(Stood::WithoutPower(Length::from_mm(f64::NAN))),
        };
        let found = read(&kept, &plan, &job.rig, stood);
        assert!(!found.to_string().is_empty());
        for stretch in &found.stretches {
            assert!(stretch.build.mm().is_finite(), "{case}: {found}");
        }
        let rest = go_on(&job.recipe, &job.rig, &job.catalogue, &plan, &found);
        let minute = Some(Time::from_s(60.0));
        let offered = offer(&found, Waited { down: minute, age: minute }, rest.is_ok());
        assert!(offered.choices.contains(&offered.default));
        match rest {
            Ok(rest) => {
                planned += 1;
                assert!(!before(&found, &rest, Waited { down: None, age: None }).is_empty());
                assert!(!rest.program.steps.is_empty());
            }
            Err(refusal) => {
                refused += 1;
                println!("{case}: {found}: {refusal}");
            }
        }
    }
    println!("{planned} planned on, {refused} refused");
    assert!(planned > 150, "{planned}");
}
