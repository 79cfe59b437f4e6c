use super::*;

#[test]
fn explore() {
    for seed in halls() {
        let (mut stage, hall) = hall(seed, Dbfs::SILENCE);
        under_its_limit(&mut stage, MAINS, Db::new(8.0));
        let truth = stage.truth().unwrap();
        let (gain, found) = at_the_main_out(&mut stage, &hall, MAINS, &Computer::PERFECT);
        let margin = gain.margin().allowing(&found.noise);
        println!("{seed} any {:.2} found {:.2} safe {:.2}", truth.safe_margin(MAINS).get(), margin.phase_aware.unwrap().get(), margin.safe.get());
    }
}
