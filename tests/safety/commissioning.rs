//! Scenario 19, its other half: a drive with its maker's reaction to a silent controller. Shipped
//! are "keep operating" with the timer off, "no action" after 1.0 s, and a stop after 1.0 s; none
//! of them may pass.

use evenpass::rig_check::{self, Verdict};
use evenpass_core::devices::{DeviceId, Read};
use evenpass_core::sequence::Phase;
use evenpass_hil::{BenchSpec, LineIndex};

use crate::bed::{SEED, until_it_stands};
use crate::support::jobs::Texts;
use crate::support::{Begin, Rehearsal};

/// Time-out in ms and reaction as shipped by drives' makers, and what they mean.
const SHIPPED: [(u16, u16, &str); 4] = [
    (0, 0, "timer off, keep operating"),
    (1_000, 0, "after 1.0 s no action"),
    (1_000, 1, "after 1.0 s a warning"),
    (1_000, 2, "after 1.0 s a quick stop: 55 mm at 50 mm/s"),
];

#[test]
fn a_drive_with_its_shipped_reaction_to_silence_fails_the_check_and_is_named() {
    let rig = Texts::of("short-job").job().rig;
    for (after, reaction, meaning) in SHIPPED {
        let mut spec = BenchSpec::default_bench().expect("the bench");
        spec.drive.communication_timeout_ms = after;
        spec.drive.communication_reaction = reaction;
        let checked = rig_check::on_this_bench(&rig, &spec).expect("it can be read");
        assert!(!checked.is_good(&rig), "\"{meaning}\" passes");
        let wrong: Vec<_> = checked
            .survey
            .items()
            .iter()
            .filter(|item| checked.verdict(item) == Verdict::Differs)
            .map(|item| (item.device, item.read))
            .collect();
        assert_eq!(wrong, [(DeviceId::Axis, Read::Settings)], "{meaning}");
    }
    let spec = BenchSpec::default_bench().expect("the bench");
    let checked = rig_check::on_this_bench(&rig, &spec).expect("it can be read");
    assert!(checked.is_good(&rig), "a commissioned bench passes");
}

/// Writes two registers of the drive before the program has said a word, as a fitter's tool would.
fn set_the_drive(run: &mut Rehearsal, after: u16, reaction: u16) {
    let [a, b] = after.to_be_bytes();
    let [c, d] = reaction.to_be_bytes();
    let mut frame = vec![1, 0x10, 0x02, 0x0C, 0, 2, 4, a, b, c, d];
    let mut sum = 0xFFFF_u16;
    for byte in &frame {
        sum ^= u16::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0xA001 } else { sum >> 1 };
        }
    }
    frame.extend(sum.to_le_bytes());
    run.bench().receive(LineIndex::Motion, 3_000, &frame);
}

#[test]
fn a_run_writes_the_reaction_and_reads_it_back_before_the_drive_gets_torque() {
    for (after, reaction, meaning) in SHIPPED {
        let mut run = Rehearsal::new(Texts::of("short-job").job(), SEED, Begin::Attended);
        set_the_drive(&mut run, after, reaction);
        run.expect("it moves at its homing speed", 300.0, |this| {
            (this.truth().torch_mm_s.abs() - 40.0).abs() < 1e-3
        });
        let at = run.truth().torch_z_mm;
        run.bench().inject(evenpass_hil::Fault::Line {
            line: LineIndex::Motion,
            fault: evenpass_hil::LineFault::Cut,
            chance: 1.0,
        });
        let speed = run.truth().torch_mm_s.abs();
        let (_, rest) = until_it_stands(&mut run);
        let ran = (rest - at).abs();
        // A request that was under way when the cable went still reaches the drive: at most a frame of 25 bytes and the silence behind it, 4.2 ms.
        let most = speed * (0.2 + 0.004_2) + speed * speed / 500.0;
        println!("shipped {meaning}: at {speed:.0} mm/s it ran {ran:.1} of {most:.1} mm");
        assert!(ran <= most, "shipped {meaning}: ran {ran} mm");
        run.wait(5.0);
        assert_ne!(run.phase(), Phase::Complete);
    }
}
