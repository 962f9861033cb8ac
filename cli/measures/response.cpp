#include "cli/measures/response.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "analysis/amplifier/response_limits.h"
#include "analysis/units.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/interference.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/trusted_steps.h"
#include "cli/measures/sweep/card_response.h"
#include "cli/measures/sweep/response_at_power.h"
#include "cli/measures/sweep/response_channels.h"
#include "cli/measures/sweep/response_gain.h"
#include "cli/measures/sweep/response_reading.h"
#include "cli/measures/sweep/response_remarks.h"

namespace assay::cli::response {

namespace {

using analysis::Quantity;
using capture::Result;

constexpr int highest_harmonic = 5;
constexpr double delay_noise_periods = 0.1;  // no group delay where three times its noise is more than that

tl::unexpected<capture::Fault> refuse(const std::string& text, const std::string& mend) {
    return capture::fail(capture::FaultKind::bad_input_file, text, mend);
}

Result<void> check(const Setup& setup) {
    if (auto result = check_power(setup); !result) return result;
    const double start_hz = field_number(*setup.test, "start_hz");
    const double stop_hz = response_stop_hz(setup);
    const double highest_hz = highest_share_of_rate * setup.tone_rate_hz;
    if (stop_hz > highest_hz * (1.0 + 1e-9)) {
        return refuse(fmt::format("stop_hz: {:.6g} Hz is too high for a sample rate of {:.6g} Hz", stop_hz,
                                  setup.tone_rate_hz),
                      fmt::format("stay below {:.6g} Hz, or raise sample_rate_hz", highest_hz));
    }
    if (start_hz * 4.0 > stop_hz) {
        return refuse(fmt::format("start_hz: {:.6g} Hz lies less than two octaves below stop_hz, {:.6g} Hz",
                                  start_hz, stop_hz),
                      "widen the band");
    }
    return check_level(setup);
}

std::optional<capture::Tone> next(const Setup& setup, std::span<const Take> takes) {
    const auto level = drive_dbfs(setup);
    if (!level) return next_response_at_power(setup, takes);
    if (!takes.empty()) return std::nullopt;
    return response_tone_of(setup, {*level});
}

struct LoadCurve {
    std::vector<double> frequency_hz{};
    std::vector<double> magnitude_db{};
    std::vector<double> phase_deg{};
    std::vector<double> group_delay_s{};  // NaN where noise hides it
};

LoadCurve curve_of(const ResponseGain& gain, const ResponseReading& reading) {
    LoadCurve curve;
    curve.frequency_hz = analysis::log_frequencies(reading.start_hz, reading.stop_hz, points_per_octave);
    for (const double frequency_hz : curve.frequency_hz) {
        const std::complex<double> value = gain.at(frequency_hz);
        curve.magnitude_db.push_back(analysis::floored_decibels(std::abs(value), 1e-15));
        curve.phase_deg.push_back(std::arg(value) * analysis::degrees);
        const bool clear = 3.0 * gain.delay_noise_s_at(frequency_hz) * frequency_hz < delay_noise_periods;
        curve.group_delay_s.push_back(clear ? gain.delay_s_at(frequency_hz)
                                            : std::numeric_limits<double>::quiet_NaN());
    }
    return curve;
}

analysis::Curve columns_of(const LoadCurve& curve, const ChannelResponse& load, double own_thd) {
    analysis::Curve columns;
    columns.columns = {{"frequency_hz", curve.frequency_hz},
                       {"magnitude_db", curve.magnitude_db},
                       {"phase_deg", curve.phase_deg},
                       {"group_delay_ms", {}}};
    for (const double seconds : curve.group_delay_s) columns.columns.back().values.push_back(1e3 * seconds);
    for (int order = 2; order <= highest_harmonic; ++order) {
        analysis::Column column{fmt::format("harmonic_{}_percent", order), {}};
        for (const double frequency_hz : curve.frequency_hz) {
            const auto harmonic = load.harmonic_at(frequency_hz, order);
            // Beyond the band, drowned in noise, or no more than the chain itself may give: no number there.
            const bool given =
                harmonic && *harmonic > 3.0 * std::max(load.harmonic_noise_at(frequency_hz, order), own_thd);
            column.values.push_back(given ? 100.0 * *harmonic : std::numeric_limits<double>::quiet_NaN());
        }
        columns.columns.push_back(std::move(column));
    }
    return columns;
}

void add_limits(const ResponseGain& gain, const LoadCurve& curve, const std::string& source,
                Numbers& numbers) {
    for (const int down_db : {3, 1}) {
        for (const bool lower : {true, false}) {
            const std::string name = fmt::format("{}_limit_{}db_hz", lower ? "lower" : "upper", down_db);
            auto limit =
                lower ? analysis::lower_limit(curve.frequency_hz, curve.magnitude_db, reference_hz, down_db)
                      : analysis::upper_limit(curve.frequency_hz, curve.magnitude_db, reference_hz, down_db);
            if (!limit) {
                const double end_hz = lower ? curve.frequency_hz.front() : curve.frequency_hz.back();
                const double end_db = lower ? curve.magnitude_db.front() : curve.magnitude_db.back();
                const double at_1khz_db =
                    analysis::curve_value(curve.frequency_hz, curve.magnitude_db, reference_hz);
                numbers.add_absent(
                    name, {"limit-beyond-range",
                           fmt::format("at {:.5g} Hz, where the curve ends, it is {:+.2f} dB re 1 kHz",
                                       end_hz, end_db - at_1khz_db),
                           lower ? "lower start_hz if the limit is wanted"
                                 : "raise stop_hz, and the sample rate, if the limit is wanted"});
                continue;
            }
            limit = analysis::refined(
                *limit, [&](double hz) { return analysis::floored_decibels(std::abs(gain.at(hz)), 1e-15); });
            Quantity quantity{limit->frequency_hz, "Hz", {}};
            add_clock_doubt(quantity);
            const double db =
                db_per_relative * std::hypot(gain.noise_at(limit->frequency_hz), gain.noise_at(reference_hz));
            if (limit->db_per_octave > 0.0) {
                const double hz_per_db = limit->frequency_hz * std::numbers::ln2 / limit->db_per_octave;
                add_doubt(quantity, source + "noise", hz_per_db * db);
                add_doubt(quantity, source + "method", hz_per_db * gain.load->method_db(limit->frequency_hz));
                add_doubt(quantity, gain.loopback_source,
                          hz_per_db * gain.card_doubt_db(limit->frequency_hz));
                add_doubt(quantity, source + "interpolation", hz_per_db * gain.bent_db(limit->frequency_hz));
            }
            numbers.add(name, quantity);
        }
    }
}

void add_deviation(const ResponseGain& gain, const LoadCurve& curve, const std::string& source,
                   Numbers& numbers) {
    const double from_hz = curve.frequency_hz.front();
    const double to_hz = curve.frequency_hz.back();
    if (from_hz > audio_from_hz || to_hz < audio_to_hz) {
        numbers.add_absent("deviation_20hz_20khz_db", band_too_narrow(from_hz, to_hz));
        return;
    }
    const double at_1khz_db = analysis::curve_value(curve.frequency_hz, curve.magnitude_db, reference_hz);
    double worst_db = 0.0;
    double worst_hz = reference_hz;
    const auto look_at = [&](double frequency_hz, double magnitude_db) {
        if (std::abs(magnitude_db - at_1khz_db) <= worst_db) return;
        worst_db = std::abs(magnitude_db - at_1khz_db);
        worst_hz = frequency_hz;
    };
    for (std::size_t i = 0; i < curve.frequency_hz.size(); ++i) {
        if (curve.frequency_hz[i] >= audio_from_hz && curve.frequency_hz[i] <= audio_to_hz)
            look_at(curve.frequency_hz[i], curve.magnitude_db[i]);
    }
    for (const double end_hz : {audio_from_hz, audio_to_hz})
        look_at(end_hz, analysis::decibels(std::abs(gain.at(end_hz))));
    Quantity quantity{worst_db, "dB", {}};
    add_doubt(quantity, source + "noise",
              db_per_relative * std::hypot(gain.noise_at(worst_hz), gain.noise_at(reference_hz)));
    add_doubt(quantity, source + "method", gain.load->method_db(worst_hz));
    add_doubt(quantity, gain.loopback_source, gain.card_doubt_db(worst_hz));
    add_doubt(quantity, source + "interpolation", gain.bent_db(worst_hz));
    numbers.add("deviation_20hz_20khz_db", quantity);
}

void add_gain(const Setup& setup, const capture::Load& load, const ResponseGain& gain, bool known,
              const std::string& source, Numbers& numbers) {
    if (!known) {
        numbers.add_absent("gain_1khz_db",
                           {"gain-unknown", "the volts at the unit's input are not known",
                            "give volts_at_full_scale of the output, or an input of role \"reference\""});
        return;
    }
    // Couplings are undone in the curve; scales were found where they already told.
    const auto found_at = [](const capture::Input& input) {
        return scale_correction(input, std::numeric_limits<double>::infinity());
    };
    const double ratio =
        std::abs(gain.at(reference_hz)) * found_at(setup.bench->inputs[load.plus]) /
        (gain.reference != nullptr ? found_at(setup.bench->inputs[*setup.test->reference]) : 1.0);
    const Quantity voltage = load_voltage(setup, load, 1.0, gain.load->plus_share, reference_hz);
    Quantity quantity = analysis::combine(analysis::decibels(ratio), "dB", {{&voltage, db_per_relative}});
    if (gain.reference != nullptr) {
        for (const capture::RelativeDoubt& doubt : setup.bench->inputs[*setup.test->reference].scale_doubts)
            quantity.contributions[doubt.source_id] -= db_per_relative * doubt.relative;
    }
    add_doubt(quantity, source + "noise", db_per_relative * gain.noise_at(reference_hz));
    add_doubt(quantity, source + "interpolation", gain.between_db(reference_hz));
    numbers.add("gain_1khz_db", quantity);
}

Numbers numbers_of(const Setup& setup, const ResponseReading& reading, std::size_t l,
                   const LoadCardResponse& card, TestResult& result) {
    const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
    const std::string source = "test:" + setup.test->id + ":" + load.name + ":";
    ResponseGain gain{&reading.loads[l], reading.reference ? &*reading.reference : nullptr, 1.0,
                      card.usable() ? &card : nullptr,
                      "input:" + setup.bench->inputs[load.plus].name + ":loopback"};
    const auto output_v = output_volts_at_full_scale_sine(setup, load);
    const bool known = gain.reference != nullptr || output_v;
    gain.divisor = output_v ? *output_v * std::numbers::sqrt2 : std::abs(gain.load->at(reference_hz));
    LoadCurve curve = curve_of(gain, reading);
    Numbers numbers;
    add_gain(setup, load, gain, known, source, numbers);
    add_limits(gain, curve, source, numbers);
    add_deviation(gain, curve, source, numbers);
    // A loopback holds the polarity of player and recorder, a reference makes it the same for both.
    if (gain.reference != nullptr || gain.card != nullptr) {
        result.conditions.emplace_back("polarity." + load.name,
                                       polarity_words(reading, [&gain](double hz) { return gain.at(hz); }));
    }
    if (gain.reference == nullptr) {
        const double delay_s = analysis::remove_delay(curve.frequency_hz, curve.phase_deg, reference_hz);
        for (double& seconds : curve.group_delay_s) seconds -= delay_s;
    }
    const capture::Input& input = setup.bench->inputs[load.plus];
    numbers.curves.emplace_back("response",
                                columns_of(curve, *gain.load, input.own_thd_percent.value_or(0.0) / 100.0));
    warn_of_unknown_own_distortion(input, numbers);
    remark_on_sweep(reading, l, input, card, numbers);
    return numbers;
}

void add_conditions(const Setup& setup, const Take& take, const ResponseReading& reading, bool between,
                    TestResult& result) {
    result.conditions.emplace_back("start_hz", reading.start_hz);
    result.conditions.emplace_back("stop_hz", reading.stop_hz);
    if (const auto power_w = setup.test->number("power_w"))
        result.conditions.emplace_back("power_asked_w", *power_w);
    // Read between two levels, each load has a level of its own.
    if (!between || setup.test->loads.size() == 1)
        result.conditions.emplace_back("drive_dbfs", reading.level_dbfs);
    add_take_conditions(setup, take, reading.start_s, reading.clock_ppm, result);
    const bool by_output = !reading.reference;
    result.conditions.emplace_back(
        "magnitude_re",
        std::string(!by_output ? "reference input"
                    : output_volts_at_full_scale_sine(setup, setup.bench->loads[setup.test->loads.front()])
                        ? "output volts"
                        : "1 kHz"));
    result.conditions.emplace_back("phase",
                                   std::string(by_output ? "less its best-fit delay" : "re reference input"));
    if (reading.stop_hz < response_stop_hz(setup) * (1.0 - 1e-9)) {
        result.whole.warn("band-cut",
                          fmt::format("the recording's rate ends the curve at {:.5g} Hz", reading.stop_hz),
                          "record at a higher rate if the rest matters");
    }
}

/// What the input's loopback takes out, where the gain is counted from the output.
Result<LoadCardResponse> card_of(const Setup& setup, const Take& take, const capture::Load& load,
                                 const ResponseReading& reading, TestResult& result) {
    if (reading.reference) return LoadCardResponse{};
    auto found = card_response_for(setup, load, take.recording.rate_hz, reading.start_hz, reading.stop_hz);
    if (found && found->usable())
        result.conditions.emplace_back(
            "card_response." + load.name,
            fmt::format("divided out, by the loopback {}{}", found->file,
                        found->plus->date.empty() ? "" : " of " + found->plus->date));
    return found;
}

Result<ResponseAtPower> read_all(const Setup& setup, std::span<const Take> takes) {
    if (setup.test->number("power_w")) return read_response_at_power(setup, takes);
    auto reading = read_response(setup, takes.front());
    if (!reading) return tl::unexpected<capture::Fault>(reading.error());
    ResponseAtPower found;
    found.loads.assign(setup.test->loads.size(), *reading);
    return found;
}

TestResult evaluate(const Setup& setup, std::span<const Take> takes) {
    TestResult result;
    result.measure = "response";
    if (takes.empty()) {
        result.fault = nothing_recorded();
        return result;
    }
    const auto read = read_all(setup, takes);
    if (!read) {
        result.fault = read.error();
        return result;
    }
    const Take& take = takes.back();
    const ResponseReading* first = nullptr;
    bool all = true;
    for (const auto& load : read->loads) {
        const auto* reading = std::get_if<ResponseReading>(&load);
        if (first == nullptr) first = reading;
        all = all && reading != nullptr;
    }
    if (first != nullptr) {
        add_conditions(setup, take, *first, read->between, result);
    } else {
        result.conditions.emplace_back("power_asked_w", *setup.test->number("power_w"));
        add_recording_conditions(setup, take, result);
    }
    for (std::size_t l = 0; l < setup.test->loads.size(); ++l) {
        const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
        const auto* reading = std::get_if<ResponseReading>(&read->loads[l]);
        if (reading == nullptr) {
            result.loads.emplace_back(
                load.name, without_numbers("response", std::get<analysis::Absent>(read->loads[l])));
            continue;
        }
        const auto card = card_of(setup, take, load, *reading, result);
        if (!card) {
            result.fault = card.error();
            return result;
        }
        Numbers numbers = numbers_of(setup, *reading, l, *card, result);
        if (setup.test->number("power_w")) remark_on_power(setup, load, *reading, l, numbers);
        result.loads.emplace_back(load.name, std::move(numbers));
    }
    if (all) add_swept_channels(setup, *first, result);
    return result;
}

}  // namespace

Measure measure() {
    Measure measure;
    measure.name = "response";
    measure.summary = "gain, phase and harmonics against frequency, from one sweep";
    measure.fields = {
        {.name = "start_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .default_text = "10",
         .minimum = 2.0,
         .maximum = 10000.0,
         .help = "where the curve begins"},
        {.name = "stop_hz",
         .type = FieldType::number,
         .unit = "Hz",
         .minimum = 100.0,
         .maximum = 80000.0,
         .help = "where it ends; left out: 0.45 of the sample rate, at most 40000"},
    };
    measure.quantities = {
        {"gain_1khz_db", "dB", true, "load volts over the volts at the unit's input, at 1 kHz"},
        {"lower_limit_3db_hz", "Hz", true,
         "lowest frequency down to which the gain stays within 3 dB of "
         "that at 1 kHz"},
        {"upper_limit_3db_hz", "Hz", true, "the same upwards"},
        {"lower_limit_1db_hz", "Hz", true, "the same downwards, within 1 dB"},
        {"upper_limit_1db_hz", "Hz", true, "the same upwards, within 1 dB"},
        {"deviation_20hz_20khz_db", "dB", true,
         "how far the gain departs at most from that at 1 kHz, up or down, between 20 Hz and 20 kHz"},
        {"channel_balance_1khz_db", "dB", false,
         "how much louder the loudest channel is than the faintest, at equal input, at 1 kHz"},
        {"channel_balance_20hz_20khz_db", "dB", false,
         "the most of that at any frequency between 20 Hz and 20 kHz"},
    };
    measure.check = check;
    measure.next = next;
    measure.evaluate = evaluate;
    return measure;
}

}  // namespace assay::cli::response
