// Sessions of an amplifier, made by hand.
#include <string>
#include <utility>
#include <vector>

#include "support/hand_made_sessions.h"

namespace assay::cli::hand_made {

Session amplifier(double rail_v, double claimed_w) {
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
    record.result.loads.emplace_back("load-a", numbers("load-a", "probe-a", 4.03, rail_v));
    record.result.loads.emplace_back("load-b", numbers("load-b", "probe-b", 4.01, 0.97 * rail_v));
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

Session many_verdicts() {
    Session session = amplifier();
    session.simulated = true;
    Numbers& load = session.tests[0].result.loads[0].second;
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
    Numbers found;
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
    Numbers by_hand;
    by_hand.add("power_w",
                quantity(44.0, "W", {{"meter:bench-meter", 0.8}, {"load:load-a:resistance", 1.2}}));
    meter.result.loads.emplace_back("load-a", by_hand);
    meter.result.conditions = {{"limit_told_by", "clip lamp"}, {"frequency_hz", 100.0}};
    session.tests.push_back(meter);
    return session;
}

Session crowd() {
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

Session powers() {
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

Session with_fault() {
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

Session hostile() {
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
