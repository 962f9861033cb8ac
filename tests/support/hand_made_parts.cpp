// What sessions made by hand are made of: a bench, a take, the findings of a load. The level curves follow
// the closed form of a hard-clipped sine, so that the pages look as real ones do.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "support/hand_made_sessions.h"

namespace assay::cli::hand_made {
namespace {

/// RMS and THD of a sine of amplitude 1 clipped at +-c, by its Fourier integral: fundamental
/// b1 = (2/pi)(asin c + c sqrt(1 - c^2)), mean square m = 1/2 - (1 - 2/pi asin c)/2 ... computed by sums
/// here.
struct Clipped {
    double rms = 0.0;
    double thd_percent = 0.0;
};
Clipped clipped(double amplitude, double rail, double floor_percent) {
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

}  // namespace

analysis::Quantity quantity(double value, const std::string& unit,
                            std::map<std::string, double> contributions) {
    return {value, unit, std::move(contributions)};
}

capture::Bench bench() {
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

Take take() {
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

Numbers numbers(const std::string& load, const std::string& input, double resistance_ohm, double rail_v) {
    Numbers made;
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

JudgedClaim claim(const std::string& text, const std::string& load, const std::string& name,
                  const analysis::Quantity& measured, double at_least) {
    JudgedClaim made{text,     "power-4-ohm",  load, name, analysis::Verdict::undecided,
                     measured, {at_least, {}}, {}};
    made.verdict = analysis::judge(measured, made.limit);
    return made;
}

}  // namespace assay::cli::hand_made
