// Sessions of a driver and of a line unit, made by hand, and one that holds the least that a session can
// hold.
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include "support/hand_made_sessions.h"

namespace assay::cli::hand_made {

Session bare() {
    Session session;
    session.program_version = "0.1.0";
    session.created = "2026-03-14T15:09:26+01:00";
    session.number = "A-1";
    session.bench.inputs = {capture::Input{.name = "probe"}};
    capture::Load load;
    load.name = "load";
    load.resistance_ohm = 8.0;
    session.bench.loads = {load};
    TestRecord record;
    record.id = "p";
    record.result.measure = "clipping-power";
    Numbers found;
    found.add("power_at_1_percent_w", analysis::exact(12.3456789, "W"));
    record.result.loads.emplace_back("load", found);
    session.tests = {record};
    return session;
}

Session driver() {
    Session session;
    session.program_version = "0.1.0";
    session.created = "2026-03-14T15:09:26+01:00";
    session.number = "D-1";
    session.unit.kind = UnitKind::driver;
    session.unit.maker = "Nordhall";
    session.unit.model = "Tern 6";
    session.unit.repairs = "surround glued";
    session.unit.sellers_note = "sold as a single";
    capture::Input generator{.name = "jig-1"};
    capture::Input terminal{.name = "jig-2"};
    terminal.channel = 2;
    session.bench.inputs = {generator, terminal};
    capture::ImpedanceJig jig;
    jig.series_ohm = 22.05;
    jig.driver_side = 1;
    session.bench.jig = jig;
    analysis::Curve curve;
    curve.columns = {{"frequency_hz", {}}, {"magnitude_ohm", {}}, {"phase_deg", {}}};
    for (double frequency = 10.0; frequency < 20000.0; frequency *= 1.12) {
        const double detuning = 4.0 * (frequency / 42.0 - 42.0 / frequency);
        const double real = 6.0 + 30.0 / (1.0 + detuning * detuning);
        const double imaginary =
            2.0 * std::numbers::pi * frequency * 0.6e-3 - 30.0 * detuning / (1.0 + detuning * detuning);
        curve.columns[0].values.push_back(frequency);
        curve.columns[1].values.push_back(std::hypot(real, imaginary));
        curve.columns[2].values.push_back(std::atan2(imaginary, real) * 180.0 / std::numbers::pi);
    }
    TestRecord impedance;
    impedance.id = "free-air";
    impedance.result.measure = "impedance";
    impedance.result.whole.add("resonance_hz", quantity(42.0, "Hz", {{"test:free-air:noise", 0.02}}));
    impedance.result.whole.add("minimum_ohm", quantity(6.3, "ohm", {{"jig:series", 0.01}}));
    impedance.result.whole.curves.emplace_back("impedance", curve);
    TestRecord parameters;
    parameters.id = "parameters";
    parameters.result.measure = "driver-parameters";
    parameters.result.whole.add("fs_hz", quantity(42.0, "Hz", {{"test:free-air:noise", 0.02}}));
    parameters.result.whole.add("qts", quantity(0.55, "", {{"test:free-air:noise", 0.003}}));
    parameters.result.conditions.emplace_back("three_point_fs_hz", 42.1);
    session.tests = {impedance, parameters};
    return session;
}

Session line() {
    Session session = amplifier();
    session.number = "L-1";
    session.unit.kind = UnitKind::line;
    session.unit.model = "Vorstufe 2";
    session.unit.minimum_load_ohm.reset();
    session.unit.minimum_bridged_load_ohm.reset();
    capture::Load bare;
    bare.name = "probe-a";
    bare.bare_input = true;
    bare.resistance_ohm = std::numeric_limits<double>::infinity();
    bare.plus = 0;
    session.bench.loads = {bare};
    TestRecord noise;
    noise.id = "noise";
    noise.result.measure = "noise";
    Numbers found;
    found.add("noise_v", quantity(38.2e-6, "V", {{"input:probe-a:scale", 0.4e-6}}));
    found.add("noise_a_weighted_v", quantity(24.6e-6, "V", {{"input:probe-a:scale", 0.3e-6}}));
    noise.result.loads.emplace_back("probe-a", found);
    TestRecord sweep;
    sweep.id = "sweep";
    sweep.result.measure = "response";
    Numbers curve;
    curve.add("gain_1khz_db", quantity(12.04, "dB", {{"input:probe-a:scale", 0.05}}));
    curve.add("lower_limit_3db_hz", quantity(11.8, "Hz", {{"test:sweep:probe-a:noise", 0.1}}));
    curve.add("upper_limit_3db_hz", quantity(38200.0, "Hz", {{"test:sweep:probe-a:noise", 200.0}}));
    sweep.result.loads.emplace_back("probe-a", curve);
    session.tests = {noise, sweep};
    const auto claimed = [](const char* text, const TestRecord& test, const char* name,
                            analysis::Tolerance limit) {
        JudgedClaim made{text,  test.id, "probe-a", name, {}, *test.result.loads[0].second.find(name),
                         limit, {}};
        made.verdict = analysis::judge(*made.measured, limit);
        return made;
    };
    session.claims = {
        claimed("noise below 30 microvolts, A-weighted", noise, "noise_a_weighted_v", {{}, 30e-6}),
        claimed("up to 50 kHz", sweep, "upper_limit_3db_hz", {50000.0, {}})};
    return session;
}

Session pair_of_inputs() {
    Session session = driver();
    session.number = "P-1";
    TestRecord match;
    match.id = "inputs";
    match.result.measure = "match";
    match.result.whole.add("ratio_1khz_db", quantity(0.0347, "dB", {{"test:inputs:noise", 0.0002}}));
    match.result.whole.add("ratio_10khz_db", quantity(0.0351, "dB", {{"test:inputs:noise", 0.0002}}));
    match.result.whole.add("phase_10khz_deg", quantity(-0.72, "deg", {{"test:inputs:noise", 0.001}}));
    session.tests.insert(session.tests.begin(), match);
    return session;
}

}  // namespace assay::cli::hand_made
