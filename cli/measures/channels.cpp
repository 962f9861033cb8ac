#include "cli/measures/channels.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/signal/median.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/trusted_steps.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using analysis::Quantity;

constexpr double alike_ohm = 0.05;       // as a claim's basis may differ
constexpr double least_step_snr = 30.0;  // as for the gain
constexpr double clean_thd = 0.002;
constexpr double most_thd = 0.01;  // at the limit the rails are compared, not the gains
// Two channels of one unit are equally late; a steady tone cannot tell more than this.
constexpr double turning_rad = std::numbers::pi / 6.0;

const capture::Load& load_at(const Setup& setup, std::size_t l) {
    return setup.bench->loads[setup.test->loads[l]];
}

/// A step of both channels that is fit to compare their gains.
bool fit(const analysis::StepReading& reading, double lowest_thd) {
    return reading.fundamental_v > least_step_snr * reading.fundamental_doubt_v &&
           reading.thd <= std::max(3.0 * lowest_thd, clean_thd) && reading.thd < most_thd;
}

double lowest_thd(const TrustedSteps& steps) {
    double lowest = 1e9;
    for (const analysis::StepReading& reading : steps.readings) {
        if (reading.fundamental_v > least_step_snr * reading.fundamental_doubt_v)
            lowest = std::min(lowest, reading.thd);
    }
    return lowest;
}

struct Pair {
    std::vector<double> ratios{};               // of this channel's volts to the first's, step by step
    std::vector<double> noises{};               // relative standard uncertainty of each, by noise
    std::vector<std::complex<double>> turns{};  // of the same steps, of length 1
};

Pair beside(const TrustedSteps& first, const TrustedSteps& other) {
    Pair pair;
    const double first_thd = lowest_thd(first);
    const double other_thd = lowest_thd(other);
    for (std::size_t k = 0, j = 0; k < first.readings.size() && j < other.readings.size();) {
        if (first.positions[k] < other.positions[j]) {
            ++k;
        } else if (other.positions[j] < first.positions[k]) {
            ++j;
        } else {
            const auto& a = first.readings[k++];
            const auto& b = other.readings[j++];
            if (!fit(a, first_thd) || !fit(b, other_thd)) continue;
            pair.ratios.push_back(b.fundamental_v / a.fundamental_v);
            pair.noises.push_back(
                std::hypot(a.fundamental_doubt_v / a.fundamental_v, b.fundamental_doubt_v / b.fundamental_v));
            pair.turns.push_back(std::polar(1.0, b.phase_rad - a.phase_rad));
        }
    }
    return pair;
}

std::string bridge_words(Turning turning) {
    return turning == Turning::alike
               ? "not as they stand: both outputs move together, so a load between them hears nothing until "
                 "one input is inverted; bridge only what its maker allows"
               : "one signal into both inputs drives a load between the two outputs from both ends; bridge "
                 "only what its maker allows";
}

}  // namespace

std::optional<double> input_re_first(const Setup& setup, const capture::Load& load) {
    const capture::Load& first = load_at(setup, 0);
    if (load.driven_by == first.driven_by) return 1.0;
    const auto own = output_volts_at_full_scale_sine(setup, load);
    const auto other = output_volts_at_full_scale_sine(setup, first);
    if (!own || !other) return std::nullopt;
    return *own / *other;
}

std::optional<Absent> unlike_channels(const Setup& setup) {
    const capture::Load& first = load_at(setup, 0);
    for (std::size_t l = 1; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = load_at(setup, l);
        if (load.bridged() != first.bridged())
            return Absent{"channels-unlike", "a bridged load stands beside one that is not", ""};
        const bool alike = load.resistance_ohm == first.resistance_ohm ||
                           std::abs(load.resistance_ohm / first.resistance_ohm - 1.0) < alike_ohm;
        if (!alike)
            return Absent{
                "channels-unlike",
                fmt::format("\"{}\" and \"{}\" differ in resistance, and that alone sets them apart",
                            first.name, load.name),
                "put equal loads on both channels"};
        if (!input_re_first(setup, load))
            return Absent{"inputs-unlike",
                          fmt::format("\"{}\" and \"{}\" are driven by different outputs whose volts are not "
                                      "known",
                                      first.name, load.name),
                          "drive both from one output, or give volts_at_full_scale of each"};
    }
    return std::nullopt;
}

void add_balance(const Setup& setup, const std::string& name, const std::vector<ChannelLevel>& channels,
                 double frequency_hz, TestResult& result) {
    if (channels.size() < 2) return;
    if (const auto unlike = unlike_channels(setup)) {
        result.whole.add_absent(name, *unlike);
        return;
    }
    const auto gain = [&](const ChannelLevel& channel) {
        return channel.volts / *input_re_first(setup, *channel.load);
    };
    const auto less = [&](const ChannelLevel& a, const ChannelLevel& b) { return gain(a) < gain(b); };
    const ChannelLevel& loudest = *std::max_element(channels.begin(), channels.end(), less);
    const ChannelLevel& faintest = *std::min_element(channels.begin(), channels.end(), less);
    const auto volts = [&](const ChannelLevel& channel) {
        return load_voltage(setup, *channel.load, channel.volts, channel.plus_share, frequency_hz);
    };
    const Quantity above = volts(loudest);
    const Quantity below = volts(faintest);
    Quantity balance = analysis::combine(
        db_per_relative * std::log(gain(loudest) / gain(faintest)), "dB",
        {{&above, db_per_relative / above.value}, {&below, -db_per_relative / below.value}});
    add_doubt(balance, "test:" + setup.test->id + ":noise",
              db_per_relative * std::hypot(loudest.relative_noise, faintest.relative_noise));
    result.whole.add(name, balance);
    const bool told = std::any_of(result.conditions.begin(), result.conditions.end(),
                                  [](const auto& entry) { return entry.first == "loudest_channel"; });
    if (!told) result.conditions.emplace_back("loudest_channel", loudest.load->name);
}

void add_turning(const Setup& setup, const std::vector<Turning>& re_first, TestResult& result) {
    const std::string& first = load_at(setup, 0).name;
    bool opposite = false;
    for (std::size_t l = 0; l < re_first.size(); ++l) {
        const std::string& name = load_at(setup, l + 1).name;
        opposite = opposite || re_first[l] == Turning::opposite;
        result.conditions.emplace_back("channel_polarity." + name,
                                       re_first[l] == Turning::alike ? "alike with " + first
                                       : re_first[l] == Turning::opposite
                                           ? "opposite to " + first
                                           : "not told: the phases differ by neither nothing nor half a "
                                             "turn");
    }
    const capture::Load& load = load_at(setup, 0);
    const bool pair = re_first.size() == 1 && re_first[0] != Turning::not_told && !load.bare_input &&
                      !load.bridged() && !load_at(setup, 1).bridged();
    if (pair) result.conditions.emplace_back("bridging", bridge_words(re_first[0]));
    if (opposite)
        result.whole.warn(
            "channels-opposite",
            "the channels turn the wave opposite ways, between the points that the probes touch",
            "if no lead is swapped, it is the unit's own doing: for stereo, swap the leads of "
            "one loudspeaker; some units are made so for bridging");
}

void add_steady_channels(const Setup& setup, const StaircaseReading& reading, TestResult& result) {
    if (setup.test->loads.size() < 2) return;
    std::vector<TrustedSteps> steps;
    steps.reserve(reading.loads.size());
    for (const auto& row : reading.loads) steps.push_back(trusted_steps(row));
    std::vector<ChannelLevel> channels{{&load_at(setup, 0), 1.0, 0.0, 1.0}};
    if (!steps[0].plus_shares.empty()) channels[0].plus_share = steps[0].plus_shares.back();
    std::vector<Turning> turnings;
    for (std::size_t l = 1; l < steps.size(); ++l) {
        const Pair pair = beside(steps[0], steps[l]);
        if (pair.ratios.empty()) {
            result.whole.add_absent(
                "channel_balance_db",
                {"no-clean-step", "no step stands clear of noise and distortion in both channels",
                 "let the tone start lower, or lower the noise"});
            return;
        }
        const double middle = analysis::median(pair.ratios);
        double square = 0.0;
        for (const double ratio : pair.ratios) square += std::pow(ratio / middle - 1.0, 2.0);
        const auto count = static_cast<double>(pair.ratios.size());
        // One step alone scatters by nothing, and is as noisy as others.
        double noise = 0.0;
        for (const double one : pair.noises) noise = std::hypot(noise, one / count);
        channels.push_back({&load_at(setup, l), middle, std::max(std::sqrt(square) / count, noise),
                            steps[l].plus_shares.back()});
        std::complex<double> turn{};
        for (const auto& one : pair.turns) turn += one;
        const double angle = std::abs(std::arg(turn));
        turnings.push_back(angle < turning_rad                      ? Turning::alike
                           : angle > std::numbers::pi - turning_rad ? Turning::opposite
                                                                    : Turning::not_told);
    }
    add_balance(setup, "channel_balance_db", channels, field_number(*setup.test, "frequency_hz"), result);
    add_turning(setup, turnings, result);
}

}  // namespace assay::cli
