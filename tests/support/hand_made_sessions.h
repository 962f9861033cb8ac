// Sessions made by hand, for the tests of session file, terminal text and page. Invented units; the level
// curves follow the closed form of a hard-clipped sine, so that the pages look as real ones do.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <string>

#include "cli/files/session.h"

namespace assay::cli::hand_made {

inline analysis::Quantity quantity(double value, const std::string& unit,
                                   std::map<std::string, double> contributions) {
    return {value, unit, std::move(contributions)};
}

/// RMS and THD of a sine of amplitude 1 clipped at +-c, by its Fourier integral: fundamental
/// b1 = (2/pi)(asin c + c sqrt(1 - c^2)), mean square m = 1/2 - (1 - 2/pi asin c)/2 ... computed by sums
/// here.
struct Clipped {
    double rms = 0.0;
    double thd_percent = 0.0;
};
inline Clipped clipped(double amplitude, double rail, double floor_percent) {
    constexpr int points = 4000;
    double square = 0.0;
    double sine = 0.0;
    for (int i = 0; i < points; ++i) {
        const double phase = 2.0 * std::numbers::pi * (i + 0.5) / points;
        const double value = std::clamp(amplitude * std::sin(phase), -rail, rail);
        square += value * value / points;
        sine += 2.0 * value * std::sin(phase) / points;
    }
    const double fundamental = sine * sine / 2.0;
    const double harmonics = std::max(0.0, square - fundamental);
    return {std::sqrt(square), std::hypot(100.0 * std::sqrt(harmonics / fundamental), floor_percent)};
}

inline capture::Bench bench() {
    capture::Bench made;
    made.source = capture::Source::simulated;
    made.sample_rate_hz = 96000;
    made.ground = capture::Ground::load_minus;
    made.outputs = {{"drive", 1, 2.1, 1.5, {}, false}};
    capture::Input a;
    a.name = "probe-a";
    a.volts_at_full_scale = 1.95;
    a.attenuation = 12.0;
    a.scale_doubts = {{"input:probe-a:scale", 0.01}, {"meter:bench-meter", 0.0046}};
    a.calibrated_at_hz = 83;
    a.clean_up_to_dbfs = -1.0;
    capture::Input b = a;
    b.name = "probe-b";
    b.channel = 2;
    b.inverted = true;
    b.scale_doubts = {{"input:probe-b:scale", 0.01}, {"meter:bench-meter", 0.0046}};
    made.inputs = {a, b};
    made.meters = {{"bench-meter", 0.8, 3, 0.01, 400.0, true}};
    capture::Load load_a;
    load_a.name = "load-a";
    load_a.resistance_ohm = 4.03;
    load_a.resistance_doubts = {{"load:load-a:resistance", 0.027}};
    load_a.rated_power_w = 100.0;
    load_a.driven_by = {0};
    load_a.plus = 0;
    capture::Load load_b = load_a;
    load_b.name = "load-b";
    load_b.resistance_ohm = 4.01;
    load_b.resistance_doubts = {{"load:load-b:resistance", 0.027}};
    load_b.plus = 1;
    made.loads = {load_a, load_b};
    made.simulated.amplifier.rail_scale = {1.0, 0.97};
    made.simulated.seed = 18446744073709551557U;
    return made;
}

inline Take take() {
    Take made;
    made.tone.rate_hz = 96000;
    made.tone.segments.push_back(
        {48000, 24000, capture::Chirp{500, 1500}, -30.0, 480, capture::SegmentRole::head});
    std::int64_t frame = 84000;
    for (int i = 0; i < 40; ++i) {
        made.tone.segments.push_back(
            {frame, 960, capture::Chirp{800, 2500}, -30.0, 96, capture::SegmentRole::mark});
        made.tone.segments.push_back({frame + 1920, 48000, capture::SteadySine{997.0, 0.25}, -40.0 + i, 480,
                                      capture::SegmentRole::step});
        frame += 57600;
    }
    made.tone.frames = frame + 48000;
    made.recording.path = "captures/power-4-ohm.flac";
    made.recording.rate_hz = 96000;
    made.recording.channels = 2;
    made.recording.frames = made.tone.frames + 5000;
    made.recording.format = "flac pcm-24";
    made.recording.bits = 24;
    return made;
}

/// Findings of one load of an amplifier whose rail stands at `rail_v`.
inline Findings findings(const std::string& load, const std::string& input, double resistance_ohm,
                         double rail_v) {
    Findings made;
    analysis::Curve curve;
    curve.columns = {{"drive_dbfs", {}},
                     {"voltage_v", {}},
                     {"power_w", {}},
                     {"thd_percent", {}},
                     {"thd_plus_noise_percent", {}}};
    const double gain = std::pow(10.0, 30.0 / 20.0);
    double power_at_1 = 0.0;
    double power_at_10 = 0.0;
    for (double level = -40.0; level <= -3.0; level += level < -12.0 ? 1.0 : 0.1) {
        const double amplitude = 2.1 * gain * std::pow(10.0, level / 20.0);
        const Clipped at = clipped(amplitude, rail_v, 0.02 + 0.05 / amplitude);
        const double power = at.rms * at.rms / resistance_ohm;
        curve.columns[0].values.push_back(level);
        curve.columns[1].values.push_back(at.rms);
        curve.columns[2].values.push_back(power);
        curve.columns[3].values.push_back(at.thd_percent);
        curve.columns[4].values.push_back(std::hypot(at.thd_percent, 0.01 + 0.1 / amplitude));
        if (at.thd_percent < 1.0) power_at_1 = power;
        if (at.thd_percent < 10.0) power_at_10 = power;
    }
    const auto power = [&](double value) {
        return quantity(value, "W",
                        {{"load:" + load + ":resistance", 0.027 * value},
                         {"input:" + input + ":scale", -0.012 * value},
                         {"meter:bench-meter", 0.0046 * value},
                         {"test:power-4-ohm:" + load + ":interpolation", 0.0004 * value},
                         {"test:power-4-ohm:" + load + ":noise", 0.0001 * value}});
    };
    const auto volts = [&](double value) {
        return quantity(
            value, "V",
            {{"input:" + input + ":scale", 0.006 * value}, {"meter:bench-meter", 0.0023 * value}});
    };
    made.add("power_at_1_percent_w", power(power_at_1));
    made.add("voltage_at_1_percent_v", volts(std::sqrt(power_at_1 * resistance_ohm)));
    made.add("power_at_10_percent_w", power(power_at_10));
    made.add("voltage_at_10_percent_v", volts(std::sqrt(power_at_10 * resistance_ohm)));
    made.add("clip_onset_positive_v", volts(rail_v));
    made.add("clip_onset_negative_v", volts(0.985 * rail_v));
    made.add("clip_onset_w", power(rail_v * rail_v / 2.0 / resistance_ohm));
    made.add("gain_db", quantity(29.96, "dB", {{"input:" + input + ":scale", 0.062}}));
    made.curves.emplace_back("level", curve);
    return made;
}

inline JudgedClaim claim(const std::string& text, const std::string& load, const std::string& name,
                         const analysis::Quantity& measured, double at_least) {
    JudgedClaim made{text,     "power-4-ohm",  load, name, analysis::Verdict::undecided,
                     measured, {at_least, {}}, {}};
    made.verdict = analysis::judge(measured, made.limit);
    return made;
}

/// A whole session; the rail decides what the amplifier gives (22.5 V: about 60 W into 4 ohm).
inline Session amplifier(double rail_v = 19.5, double claimed_w = 22.0) {
    Session session;
    session.program_version = "0.1.0";
    session.created = "2026-03-14T15:09:26+01:00";
    session.number = "A-20260314-150926-7F3C";
    session.bench = bench();
    session.simulated = false;
    session.unit = {UnitKind::amplifier,
                    "Birkenhof Audio",
                    "Tandem 225",
                    "BH-0417-2231",
                    "used; case scratched, two output transistors replaced",
                    "two output transistors",
                    "works, sold as seen",
                    {},
                    2.0,
                    4.0};
    TestRecord record;
    record.id = "power-4-ohm";
    record.takes = {take()};
    record.result.measure = "clipping-power";
    record.result.loads.emplace_back("load-a", findings("load-a", "probe-a", 4.03, rail_v));
    record.result.loads.emplace_back("load-b", findings("load-b", "probe-b", 4.01, 0.97 * rail_v));
    const analysis::Quantity& first = *record.result.loads[0].second.find("power_at_1_percent_w");
    const analysis::Quantity& second = *record.result.loads[1].second.find("power_at_1_percent_w");
    record.result.whole.add("total_power_at_1_percent_w", analysis::sum({first, second}));
    record.result.whole.warn("few-harmonics-in-band", "hum at 50 Hz lies only 62 dB below the tone",
                             "run the computer from its battery and look for a second earth");
    record.result.conditions = {{"frequency_hz", 997.0},   {"supply_idle_v", 14.4},
                                {"supply_loaded_v", 13.9}, {"channels_driven", 2.0},
                                {"limit_on", "thd"},       {"start_s", 1.8304},
                                {"clock_ppm", -12.4},      {"case_temperature_c", 41.0}};
    session.claims = {
        claim("22 W per channel into 4 ohm, 1 % THD", "load-a", "power_at_1_percent_w", first, claimed_w),
        claim("22 W per channel into 4 ohm, 1 % THD (right)", "load-b", "power_at_1_percent_w", second,
              claimed_w)};
    session.tests.push_back(std::move(record));
    return session;
}

/// Every verdict on one page, a limit that was not reached, a distortion test and a reading by hand.
inline Session many_verdicts() {
    Session session = amplifier();
    session.simulated = true;
    Findings& load = session.tests[0].result.loads[0].second;
    load.add_absent("power_at_30_percent_w",
                    {"limit-not-reached", "30 % THD is not reached; 3.4 dB are missing",
                     "raise to_dbfs, if the unit and the load bear it"});
    const analysis::Quantity ten = *load.find("power_at_10_percent_w");
    session.claims.push_back(
        claim("60 W music power", "load-a", "power_at_10_percent_w", ten, 1.05 * ten.value));
    session.claims.push_back(claim("2 x 150 W max", "load-a", "power_at_10_percent_w", ten, 150.0));
    session.claims.back().reason = "";
    JudgedClaim basis = claim("25 W into 4 ohm at 12.6 V", "load-a", "power_at_1_percent_w",
                              *load.find("power_at_1_percent_w"), 25.0);
    basis.verdict = analysis::Verdict::undecided;
    basis.reason = "the claim is for 12.6 V at the terminals, the test had 13.9 V: more than 5 % apart";
    session.claims.push_back(basis);
    JudgedClaim missing{"100 W at 30 % THD",
                        "power-4-ohm",
                        "load-a",
                        "power_at_30_percent_w",
                        analysis::Verdict::undecided,
                        {},
                        {100.0, {}},
                        "30 % THD is not reached; 3.4 dB are missing"};
    session.claims.push_back(missing);

    TestRecord distortion;
    distortion.id = "distortion-10-w";
    distortion.takes = {take()};
    distortion.takes[0].recording.path = "captures/distortion-10-w.flac";
    distortion.result.measure = "distortion";
    Findings found;
    found.add("voltage_v", quantity(6.35, "V", {{"input:probe-a:scale", 0.038}}));
    found.add("power_w",
              quantity(10.0, "W", {{"load:load-a:resistance", 0.27}, {"input:probe-a:scale", 0.12}}));
    found.add("thd_percent", quantity(0.0421, "%", {{"input:probe-a:own-distortion", 0.0018}}));
    found.add("thd_plus_noise_percent",
              quantity(0.0512, "%", {{"test:distortion-10-w:load-a:noise", 0.0011}}));
    found.add("harmonic_2_percent", quantity(0.0312, "%", {{"input:probe-a:own-distortion", 0.0018}}));
    found.add("harmonic_3_percent", quantity(0.000214, "%", {{"input:probe-a:own-distortion", 0.00018}}));
    distortion.result.loads.emplace_back("load-a", found);
    distortion.result.conditions = {{"frequency_hz", 997.0}, {"supply_loaded_v", 14.2}};
    session.tests.push_back(distortion);

    TestRecord meter;
    meter.id = "by-hand";
    meter.result.measure = "meter-power";
    Findings by_hand;
    by_hand.add("power_w",
                quantity(44.0, "W", {{"meter:bench-meter", 0.8}, {"load:load-a:resistance", 1.2}}));
    meter.result.loads.emplace_back("load-a", by_hand);
    meter.result.conditions = {{"limit_told_by", "clip lamp"}, {"frequency_hz", 100.0}};
    session.tests.push_back(meter);
    return session;
}

/// Twenty tests and forty claims, of which the first page has room for a few.
inline Session crowd() {
    Session session = amplifier();
    const TestRecord record = session.tests[0];
    const std::vector<JudgedClaim> claims = session.claims;
    for (int i = 1; i < 20; ++i) {
        session.tests.push_back(record);
        session.tests.back().id = "again-" + std::to_string(i);
        for (JudgedClaim judged : claims) {
            judged.limit.at_least = 20.0 + 2.0 * i;
            judged.verdict = analysis::judge(*judged.measured, judged.limit);
            judged.text = std::to_string(20 + 2 * i) + " W";
            session.claims.push_back(judged);
        }
    }
    session.claims.back().verdict = analysis::Verdict::undecided;
    session.claims.back().reason = "the claim is for 12.6 V, the test had 13.9 V: more than 5 % apart";
    return session;
}

/// The same test on three supplies and one channel alone, under the basis of a rating: the table of power, a
/// load below the unit's minimum, the plot against supply volts.
inline Session powers() {
    Session session = amplifier();
    session.unit.minimum_load_ohm = 8.0;
    session.rating = RatingStatement{"home-us", 20.0, 2.0, 60.0, 2.5, {}};
    const TestRecord whole = session.tests[0];
    for (const double loaded_v : {12.9, 11.9, 0.0}) {
        TestRecord record = whole;
        const bool alone = loaded_v == 0.0;
        record.id = alone ? "left-alone" : loaded_v > 12.0 ? "at-13-v" : "at-12-v";
        if (alone) {
            record.result.loads.pop_back();
            record.result.whole = {};
        }
        for (auto& [name, value] : record.result.conditions) {
            if (name == "supply_idle_v" && !alone) value = loaded_v + 0.5;
            if (name == "supply_loaded_v" && !alone) value = loaded_v;
        }
        for (auto& [load, found] : record.result.loads) {
            for (auto& [name, figure] : found.quantities) {
                const double part = alone ? 1.04 : loaded_v / 13.9 * loaded_v / 13.9;
                if (figure.unit == "W") figure.value *= part;
                for (auto& [id, doubt] : figure.contributions) doubt *= figure.unit == "W" ? part : 1.0;
            }
        }
        record.result.conditions.emplace_back("supply_current_a", 9.4);
        session.tests.push_back(record);
    }
    return session;
}

/// One test whose capture cannot be trusted.
inline Session with_fault() {
    Session session = amplifier();
    TestResult& result = session.tests[0].result;
    result.loads.clear();
    result.whole = {};
    result.fault = capture::Fault{capture::FaultKind::untrusted_capture,
                                  "captures/power-4-ohm.flac: 480 frames are missing", 12.4,
                                  "record again with a larger buffer, nothing else running"};
    for (JudgedClaim& judged : session.claims) {
        judged.verdict = analysis::Verdict::undecided;
        judged.measured.reset();
        judged.reason = "the capture of the test cannot be trusted";
    }
    return session;
}

/// Everything that may be left out is left out.
inline Session bare() {
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
    Findings found;
    found.add("power_at_1_percent_w", analysis::exact(12.3456789, "W"));
    record.result.loads.emplace_back("load", found);
    session.tests = {record};
    return session;
}

/// A driver: its impedance by the closed form of a resonance with a coil (Re 6, Le 0.6 mH, fs 42 Hz, Qms 4,
/// Res 30), and a few of its parameters.
inline Session driver() {
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

/// A preamplifier: volts and no watts, one claim of its noise and one of its response.
inline Session line() {
    Session session = amplifier();
    session.number = "L-1";
    session.unit.kind = UnitKind::line;
    session.unit.model = "Vorstufe 2";
    session.unit.minimum_load_ohm.reset();
    session.unit.minimum_bridged_load_ohm.reset();
    capture::Load bare;
    bare.name = "probe-a";
    bare.bare_input = true;
    bare.plus = 0;
    session.bench.loads = {bare};
    TestRecord noise;
    noise.id = "noise";
    noise.result.measure = "noise";
    Findings found;
    found.add("noise_v", quantity(38.2e-6, "V", {{"input:probe-a:scale", 0.4e-6}}));
    found.add("noise_a_weighted_v", quantity(24.6e-6, "V", {{"input:probe-a:scale", 0.3e-6}}));
    noise.result.loads.emplace_back("probe-a", found);
    TestRecord sweep;
    sweep.id = "sweep";
    sweep.result.measure = "response";
    Findings curve;
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

/// Two inputs on one node, compared before a driver is measured with them.
inline Session pair_of_inputs() {
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

inline const std::string hostile_text =
    "<script>alert(1)</script>\"'&`touch x`$(id)\\n';reset\n\x1b[31mred\xE2\x80\xAE"
    "evil\x01\xFF{{title}}zq0qz";

/// Names that try to break out of the page, the terminal and the plot, and a very long one.
inline Session hostile() {
    Session session = amplifier();
    session.unit.maker = hostile_text;
    session.unit.model = std::string(10000, 'W');
    session.unit.serial = std::string(3000, '<') + "é\xCC\x81\xCC\x81\xCC\x81\xCC\x81";
    session.unit.condition = hostile_text + hostile_text;
    session.number = "A\" } body { display: none } \\";
    session.bench.loads[0].name = hostile_text;
    session.bench.inputs[0].name = hostile_text;
    session.tests[0].result.loads[0].first = hostile_text;
    session.tests[0].result.conditions.emplace_back("note", hostile_text);
    session.claims[0].load = hostile_text;
    session.claims[0].text = hostile_text;
    session.claims[0].reason = hostile_text;
    session.tests[0].result.whole.warn("x", hostile_text, hostile_text);
    return session;
}

}  // namespace assay::cli::hand_made
