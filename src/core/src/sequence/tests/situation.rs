//! What tells two states apart, times left out.

use super::reach::reach;
use crate::request::Request;
use crate::sequence::Leaf;

#[test]
fn time_alone_changes_no_situation_and_a_phase_inside_a_state_does() {
    let mut held = reach(Leaf::HeldUnlit);
    held.run(20.0);
    let before = held.sequence.situation();
    held.run(7.0);
    assert_eq!(held.sequence.situation(), before);

    let mut crossing = reach(Leaf::Crossing);
    crossing.run(4.0);
    crossing.ask(Request::Hold);
    crossing.scan();
    let emptying = crossing.sequence.situation();
    crossing.run(1.5);
    let clearing = crossing.sequence.situation();
    assert_eq!((emptying.leaf, clearing.leaf), (Leaf::Holding, Leaf::Holding));
    assert_ne!(emptying.inside, clearing.inside, "the hose is empty: the torch leaves");
}
