//! The plan of a run, made again from its own record.

use std::path::Path;

use evenpass_core::plan::{Plan, plan};
use evenpass_core::resume::{go_on, read};
use jiff::Timestamp;

use super::{STOOD, found_then};
use crate::files::{self, Job, Source};
use crate::learning::Lessons;
use crate::record::{RESUMES, RunRecord, Store};

/// The plan that a run began with: of its recipe, or of what an earlier run had left of it.
pub(super) fn planned(
    store: &Store,
    record: &RunRecord,
    catalogue: Option<&Path>,
    most: usize,
) -> Result<(Job, Plan), String> {
    let of = |source: &crate::record::Source| Source {
        name: source.name.clone(),
        text: source.text.clone(),
    };
    let (job, plan) = match record.particulars.get(RESUMES) {
        Some(earlier) if most > 0 => {
            let id = store.find(earlier).map_err(|problem| problem.whole())?;
            let earlier = store.run(&id).map_err(|problem| problem.whole())?;
            let (job, plan) = planned(store, &earlier, catalogue, most - 1)?;
            let stood = record.particulars.get(STOOD);
            let stood = stood.and_then(|text| found_then(text.as_str()));
            let found = read(&earlier.entries, &plan, &job.rig, stood);
            let rest = go_on(&job.recipe, &job.rig, &job.catalogue, &plan, &found);
            (job, rest.map_err(|refusal| changed(record, &refusal.to_string()))?)
        }
        Some(_) => return Err(changed(record, "too many runs went on with one another")),
        None => {
            let mut made = None;
            for lessons in known_then(store, record)? {
                let job =
                    files::job_of_texts(of(&record.recipe), of(&record.rig), catalogue, lessons)?;
                let plan = plan(&job.recipe, &job.rig, &job.catalogue)
                    .map_err(|problems| changed(record, &problems.to_string()))?;
                let same = is_of(record, &plan);
                made = Some((job, plan));
                if same {
                    break;
                }
            }
            made.ok_or_else(|| changed(record, "it cannot be planned"))?
        }
    };
    if !is_of(record, &plan) {
        return Err(changed(record, "what is planned from its recipe today is another program"));
    }
    Ok((job, plan))
}

/// What a run may have been planned with, the likeliest first: what had been told by its beginning,
/// or, where a job was loaded long before it was started, by one of the tellings before; or nothing.
fn known_then<'a>(store: &'a Store, record: &RunRecord) -> Result<Vec<Lessons<'a>>, String> {
    /// So many tellings between loading and start are tried; arbitrary, each costs a plan.
    const TOLD_MEANWHILE: usize = 4;
    let (file, began) = (store.file(), record.summary.started_at);
    let measurements = store.measurements().map_err(|problem| problem.whole())?;
    let mut told: Vec<Timestamp> = measurements
        .iter()
        .flat_map(|kept| {
            let withdrawn = kept.withdrawn.as_ref().map(|withdrawn| withdrawn.made_at);
            [Some(kept.measurement.kept_at), withdrawn]
        })
        .flatten()
        .filter(|at| *at <= began)
        .collect();
    let acceptances = store.acceptances().map_err(|problem| problem.whole())?;
    told.extend(acceptances.iter().map(|known| known.made_at).filter(|at| *at <= began));
    if told.is_empty() {
        return Ok(vec![Lessons::Ignored]);
    }
    told.sort_unstable();
    // Before one of them was told it stood as the one before left it.
    let meanwhile = told.iter().rev().skip(1).take(TOLD_MEANWHILE);
    let as_of = core::iter::once(&began).chain(meanwhile).map(|at| Lessons::AsOf(file, *at));
    Ok(as_of.chain([Lessons::Ignored]).collect())
}

/// Whether a plan is that of a run, to the letter.
fn is_of(record: &RunRecord, plan: &Plan) -> bool {
    // By text, as the record keeps it: a figure may come back from it in another form.
    let text = |value: &serde_json::Value| value.to_string();
    let again = serde_json::to_value(&plan.program).map(|value| text(&value));
    again.is_ok_and(|again| again == text(&record.program))
}

fn changed(record: &RunRecord, why: &str) -> String {
    format!(
        "run {}: cannot be taken up: {why}\nhelp: bring catalogue and software back to what they were \
         ({}), or end the job: measure the coat, or strip the part\n",
        record.summary.id, record.software
    )
}
