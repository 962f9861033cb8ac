#include "cli/measures/noise_numbers.h"

#include <fmt/format.h>

#include <cmath>
#include <numbers>
#include <utility>
#include <variant>

#include "analysis/signal/median.h"
#include "analysis/units.h"
#include "cli/measures/plain_number.h"
#include "cli/measures/recording/scale.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using analysis::NoiseReading;
using analysis::NoiseValue;
using analysis::Quantity;

constexpr double unsteady = 2.0;                     // power of one stretch over the typical
constexpr double floor_margin = 1.9952623149688795;  // 3 dB in power
constexpr double noise_centre_hz = 10000.0;          // of even noise to 20 kHz, half lies to either side

/// The unit's own part of a reading: the floor taken off in power; absent within 3 dB of it.
std::variant<Quantity, Absent> unit_noise(const NoiseContext& context, NoiseValue NoiseReading::*which) {
    const NoiseValue& whole = context.own->*which;
    const NoiseValue floor = context.floor != nullptr ? context.floor->*which : NoiseValue{};
    const double whole_square = whole.volts * whole.volts;
    const double floor_square = floor.volts * floor.volts;
    if (whole_square < floor_margin * floor_square) {
        return Absent{"below-floor",
                      fmt::format("{}, within 3 dB of the bench's own {}", plain_volts(whole.volts),
                                  plain_volts(floor.volts)),
                      "take less attenuation or a quieter recorder"};
    }
    const double volts = std::sqrt(whole_square - floor_square);
    // Both inputs of a bridged load see noise of their own: the halves count alike.
    Quantity quantity =
        load_voltage(*context.setup, *context.load, volts, context.load->minus ? 0.5 : 1.0, noise_centre_hz);
    add_doubt(quantity, context.source + "repeatability", whole.doubt_v * whole.volts / volts);
    if (floor_square > 0.0)
        add_doubt(quantity, context.floor_source + "repeatability", floor.doubt_v * floor.volts / volts);
    return quantity;
}

/// Ratio of some volts to the noise; the volts are exact or carry doubts of their own.
void add_volt_ratio(const std::string& name, double reference_v,
                    const std::vector<capture::RelativeDoubt>& doubts, double share,
                    const std::variant<Quantity, Absent>& noise, Numbers& numbers) {
    if (const auto* absent = std::get_if<Absent>(&noise)) {
        numbers.absent.emplace_back(name, *absent);
        return;
    }
    const Quantity& volts = std::get<Quantity>(noise);
    Quantity ratio = analysis::combine(analysis::decibels(reference_v / volts.value), "dB",
                                       {{&volts, -db_per_relative / volts.value}});
    for (const capture::RelativeDoubt& doubt : doubts)
        ratio.contributions[doubt.source_id] += share * db_per_relative * doubt.relative;
    numbers.add(name, ratio);
}

void add_ratio(const NoiseContext& context, const std::string& name, double power_w,
               const std::variant<Quantity, Absent>& noise, Numbers& numbers) {
    const double ohm = context.load->resistance_ohm;
    if (!std::isfinite(ohm) && std::holds_alternative<Quantity>(noise)) {
        numbers.absent.emplace_back(name, Absent{"no-load", "the load has no resistance",
                                                 "name a load with a resistance if the ratio is wanted"});
        return;
    }
    add_volt_ratio(name, std::sqrt(power_w * ohm), context.load->resistance_doubts, 0.5, noise, numbers);
}

void add_hum(const NoiseContext& context, Numbers& numbers) {
    if (!context.own->mains_hz) {
        numbers.add_absent("hum_v",
                           {"below-noise",
                            fmt::format("no line stands out of the noise at multiples of 50 or 60 Hz; "
                                        "below {}",
                                        plain_volts(context.own->hum_detectable_v, 2)),
                            "no mend is needed"});
        numbers.absent.emplace_back("mains_hz", Absent{"no-hum", "no hum is heard", ""});
        return;
    }
    const auto hum = unit_noise(context, &NoiseReading::hum);
    if (const auto* absent = std::get_if<Absent>(&hum)) {
        numbers.add_absent("hum_v", *absent);
    } else {
        numbers.add("hum_v", std::get<Quantity>(hum));
    }
    Quantity mains{*context.own->mains_hz, "Hz", {}};
    add_doubt(mains, context.source + "noise", context.own->mains_doubt_hz);
    add_clock_doubt(mains, "sound:recorder-clock");
    numbers.add("mains_hz", mains);
    std::string lines;
    for (const analysis::NoiseLine& line : context.own->hum_lines)
        lines += fmt::format("{}{:.1f} Hz {}", lines.empty() ? "" : ", ", line.frequency_hz,
                             plain_volts(line.volts));
    const double share = std::pow(context.own->hum.volts / context.own->band.volts, 2.0);
    constexpr double mostly = 0.5;
    if (share > mostly) {
        numbers.warn("hum", fmt::format("hum is {:.0f} % of the noise's power: {}", 100.0 * share, lines),
                     "find the ground loop: one ground point, shorter leads, the player on its battery");
    }
}

/// Of quasi-peak readings the powers add where both are noise; where they are clicks they do not. So the part
/// that the floor takes off is in doubt by as much.
void add_quasi_peak(const NoiseContext& context, Numbers& numbers) {
    const char* const name = "noise_itu_468_quasi_peak_v";
    auto noise = unit_noise(context, &NoiseReading::itu_468_quasi_peak);
    if (const auto* absent = std::get_if<Absent>(&noise)) {
        numbers.add_absent(name, *absent);
        return;
    }
    auto& quantity = std::get<Quantity>(noise);
    add_doubt(quantity, context.floor_source + "quasi-peak",
              (context.own->itu_468_quasi_peak.volts - quantity.value) / std::numbers::sqrt3);
    numbers.add(name, quantity);
    constexpr double crackling = 2.0;  // steady noise stays within 1.3 of its typical reading
    if (context.own->itu_468_highest_v > crackling * context.own->itu_468_quasi_peak.volts)
        numbers.warn("clicks",
                     fmt::format("the quasi-peak reading goes up to {}, {} typically",
                                 plain_volts(context.own->itu_468_highest_v),
                                 plain_volts(context.own->itu_468_quasi_peak.volts)),
                     "listen for clicks or crackling: a relay, a thermostat, a worn control, a bad joint");
}

/// A line that moves: an alternator, a converter. Nothing where there is none, or where the floor has it too.
void add_whine(const NoiseContext& context, Numbers& numbers) {
    const auto& whine = context.own->whine;
    if (!whine) return;
    if (context.floor != nullptr && context.floor->whine &&
        context.floor->whine->volts * context.floor->whine->volts * floor_margin >
            whine->volts * whine->volts) {
        numbers.add_absent("whine_v", {"below-floor",
                                       fmt::format("{} of it are in the bench's own noise already",
                                                   plain_volts(context.floor->whine->volts)),
                                       "look for the converter that the recorder or its leads hear"});
        return;
    }
    constexpr double doubt = 0.05;  // of the volts, by the lobe that is summed
    constexpr double half_bin_hz = 4.0;
    Quantity volts = load_voltage(*context.setup, *context.load, whine->volts,
                                  context.load->minus ? 0.5 : 1.0, whine->highest_hz);
    add_doubt(volts, context.source + "noise", doubt * whine->volts);
    numbers.add("whine_v", volts);
    for (const auto& [name, hz] :
         {std::pair{"whine_lowest_hz", whine->lowest_hz}, std::pair{"whine_highest_hz", whine->highest_hz}}) {
        Quantity frequency{hz, "Hz", {}};
        add_doubt(frequency, context.source + "noise", half_bin_hz);
        numbers.add(name, frequency);
    }
    numbers.warn("whine",
                 fmt::format("a whine of {} moves between {:.0f} and {:.0f} Hz", plain_volts(whine->volts),
                             whine->lowest_hz, whine->highest_hz),
                 "an alternator if it follows the engine, a converter if it follows the load: look at the "
                 "ground point and at how the signal leads are laid");
}

void add_remarks(const NoiseContext& context, Numbers& numbers) {
    const double typical_v = analysis::median(context.own->stretch_v);
    for (std::size_t k = 0; k < context.own->stretch_v.size(); ++k) {
        const double volts = context.own->stretch_v[k];
        if (volts * volts < unsteady * typical_v * typical_v) continue;
        numbers.warn("unsteady",
                     fmt::format("{} about {:.0f} s after the start, {} typically", plain_volts(volts),
                                 static_cast<double>(k + 1) * context.own->stretch_s, plain_volts(typical_v)),
                     "keep leads and knobs untouched; crackling is a fault of its own");
        break;
    }
    constexpr double loud_share = 0.1;
    if (const auto& whistle = context.own->whistle;
        whistle && std::pow(whistle->volts / context.own->band.volts, 2.0) > loud_share) {
        numbers.warn("whistle",
                     fmt::format("a tone of {} at {:.1f} Hz stands out", plain_volts(whistle->volts),
                                 whistle->frequency_hz),
                     "look for a converter, a charger, an alternator or another source playing");
    }
    if (context.floor == nullptr) {
        numbers.warn("floor-unknown", "the recorder's own noise is in these numbers",
                     "make a noise test with the probe shorted and name it as floor");
    }
}

/// The lines that stand out: of the mains, and the strongest other one. As they were heard, the bench's own
/// in them.
void add_lines(const NoiseContext& context, Numbers& numbers) {
    std::vector<analysis::NoiseLine> lines = context.own->hum_lines;
    if (context.own->whistle) lines.push_back(*context.own->whistle);
    if (lines.empty()) return;
    std::sort(lines.begin(), lines.end(), [](const analysis::NoiseLine& a, const analysis::NoiseLine& b) {
        return a.frequency_hz < b.frequency_hz;
    });
    analysis::Curve curve{{{"frequency_hz"}, {"voltage_v"}}};
    for (const analysis::NoiseLine& line : lines) {
        curve.columns[0].values.push_back(line.frequency_hz);
        curve.columns[1].values.push_back(line.volts);
    }
    numbers.curves.emplace_back("lines", std::move(curve));
}

}  // namespace

Numbers noise_numbers(const NoiseContext& context) {
    Numbers numbers;
    const auto add = [&](const char* name, NoiseValue NoiseReading::*which) {
        auto noise = unit_noise(context, which);
        if (const auto* absent = std::get_if<Absent>(&noise)) {
            numbers.add_absent(name, *absent);
        } else {
            numbers.add(name, std::get<Quantity>(noise));
        }
        return noise;
    };
    const auto plain = add("noise_v", &NoiseReading::band);
    const auto weighted = add("noise_a_weighted_v", &NoiseReading::a_weighted);
    add("noise_itu_468_rms_v", &NoiseReading::itu_468);
    add_quasi_peak(context, numbers);
    if (!context.load->bare_input) {
        add_ratio(context, "signal_to_noise_1w_db", 1.0, plain, numbers);
        add_ratio(context, "signal_to_noise_1w_a_weighted_db", 1.0, weighted, numbers);
    }
    if (const auto reference_v = context.setup->test->number("reference_v")) {
        add_volt_ratio("signal_to_noise_reference_db", *reference_v, {}, 0.0, plain, numbers);
        add_volt_ratio("signal_to_noise_reference_a_weighted_db", *reference_v, {}, 0.0, weighted, numbers);
    }
    if (const auto power_w = context.setup->test->number("reference_power_w")) {
        add_ratio(context, "signal_to_noise_reference_db", *power_w, plain, numbers);
        add_ratio(context, "signal_to_noise_reference_a_weighted_db", *power_w, weighted, numbers);
    }
    add_hum(context, numbers);
    add_whine(context, numbers);
    add_remarks(context, numbers);
    add_lines(context, numbers);
    return numbers;
}

}  // namespace assay::cli
