use super::support;
use super::*;

#[test]
fn page() {
    let plan = plan(&support::recipe(), &support::rig(), &support::catalogue()).unwrap();
    println!("{}", plan.forecast.page());
    for note in &plan.notes {
        println!("{note}");
    }
}
