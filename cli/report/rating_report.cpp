#include "cli/report/rating_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/files/plain_text.h"
#include "cli/measures/judgement/rating.h"
#include "cli/measures/steps/limit_name.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/power_table.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

constexpr double alike = 0.05;  // as for a claim and its basis
constexpr double edge_rounding = 1e-9;

bool near(double value, double wanted) {
    return std::abs(value - wanted) <= (alike + edge_rounding) * std::abs(wanted);
}

Done as_done(bool good) {
    return good ? Done::yes : Done::no;
}

std::string in_test(const std::string& id) {
    return " (test " + visible_text(id, 80) + ")";
}

Requirement supply_of(const RatingBasis& basis, const PowerRow& row) {
    Requirement wanted{"supply", basis.supply_words, Done::not_known, "no reading", basis.supply_source};
    if (const auto volts = working_volts(row.supply)) {
        wanted.done = as_done(near(*volts, std::clamp(*volts, basis.supply_low_v, basis.supply_high_v)));
        wanted.figure = stated_text(*volts, "V") + (row.supply.loaded_v ? " under load" : " idle");
    }
    wanted.figure += in_test(row.test);
    return wanted;
}

Requirement load_of(const RatingBasis& basis, const PowerRow& row) {
    Requirement wanted{"load",
                       stated_text(basis.load_ohm.value, "ohm") + " each channel",
                       Done::yes,
                       {},
                       basis.load_ohm.source};
    for (const PowerLoad& load : row.loads) {
        if (load.bridged || !near(load.resistance_ohm, basis.load_ohm.value)) wanted.done = Done::no;
        wanted.figure += (wanted.figure.empty() ? "" : " and ") + stated_text(load.resistance_ohm, "ohm") +
                         (load.bridged ? " bridged" : "");
    }
    wanted.figure += in_test(row.test);
    return wanted;
}

Requirement limit_of(const RatingBasis& basis, const PowerRow& row) {
    const std::string on = distortion_name(basis.limit_on.value);
    Requirement wanted{"limit",
                       fmt::format("power at {:g} % {}", basis.limit_percent, on),
                       Done::no,
                       {},
                       basis.limit_on.source};
    const PowerAtLimit* power = nullptr;
    for (const PowerAtLimit& candidate : row.powers) {
        if (std::abs(limit_percent(candidate.limit) - basis.limit_percent) < edge_rounding)
            power = &candidate;
    }
    if (power == nullptr || !power->total) {
        wanted.figure = "the limit was not reached, or not asked for" + in_test(row.test);
        return wanted;
    }
    wanted.done = as_done(row.limit_on == basis.limit_on.value);
    for (const auto& watts : power->loads)
        wanted.figure += (wanted.figure.empty() ? "" : " and ") + value_text(*watts);
    if (wanted.done == Done::no) wanted.figure += ", but on " + distortion_name(row.limit_on);
    wanted.figure += in_test(row.test);
    return wanted;
}

Requirement channels_of(const RatingBasis& basis, const RatingStatement& stated, const PowerRow& row) {
    const auto driven = static_cast<double>(row.loads.size());
    const bool stereo =
        std::none_of(row.loads.begin(), row.loads.end(), [](const PowerLoad& load) { return load.bridged; });
    return {"channels", "all channels driven together", as_done(stereo && driven >= stated.channels),
            fmt::format("{:g} of {:g}{}{}", driven, stated.channels, stereo ? "" : ", bridged",
                        in_test(row.test)),
            basis.channels_source};
}

std::vector<Requirement> of_one_test(const RatingBasis& basis, const RatingStatement& stated,
                                     const PowerRow& row) {
    return {supply_of(basis, row), load_of(basis, row), limit_of(basis, row),
            channels_of(basis, stated, row)};
}

/// The power test that does most of what the basis wants; null where there is none.
const PowerRow* best_row(const RatingBasis& basis, const RatingStatement& stated, const PowerTable& table) {
    const PowerRow* best = nullptr;
    std::ptrdiff_t most = -1;
    for (const PowerRow& row : table.rows) {
        if (row.by_meter) continue;
        const auto list = of_one_test(basis, stated, row);
        const auto done =
            std::count_if(list.begin(), list.end(), [](const Requirement& r) { return r.done == Done::yes; });
        if (done > most) best = &row;
        most = std::max(most, done);
    }
    return best;
}

/// Distortion with noise from the least watts of the basis up to the power at the limit, over all loads.
Requirement from_least_of(const RatingBasis& basis, const Session& session, const PowerRow& row) {
    Requirement wanted{"from-low-power",
                       fmt::format("at most {:g} % THD+N from {} up to that power", basis.limit_percent,
                                   stated_text(1e3 * basis.least_w->value, "mW")),
                       Done::not_known, "no curve of levels", basis.least_w->source};
    const TestRecord* record = session.find(row.test);
    if (record == nullptr) return wanted;
    double worst = -1.0;
    for (const auto& [name, numbers] : record->result.loads) {
        const analysis::Quantity* top =
            numbers.find("power_at_" + limit_in_name(basis.limit_percent) + "_percent_w");
        bool known = false;
        for (const auto& [curve_name, curve] : numbers.curves) {
            const auto* watts = curve.find("power_w");
            const auto* percent = curve.find("thd_plus_noise_percent");
            if (curve_name != "level" || watts == nullptr || percent == nullptr || top == nullptr) continue;
            if (watts->empty()) continue;
            known = true;
            if (*std::min_element(watts->begin(), watts->end()) > (1.0 + alike) * basis.least_w->value) {
                wanted.figure = "the levels begin above it" + in_test(row.test);
                return wanted;
            }
            // The steps next to the crossing lie beyond it or within what interpolation leaves open.
            for (std::size_t i = 0; i < watts->size(); ++i) {
                if ((*watts)[i] >= basis.least_w->value && (*watts)[i] < 0.95 * top->value)
                    worst = std::max(worst, (*percent)[i]);
            }
        }
        if (!known) {
            wanted.figure =
                visible_text(name, 60) + " has no curve of levels up to the limit" + in_test(row.test);
            return wanted;
        }
    }
    if (worst < 0.0) return wanted;
    wanted.done = as_done(worst <= basis.limit_percent);
    wanted.figure = "at most " + two_digits(worst) + " %" + in_test(row.test);
    return wanted;
}

/// Why a test of power against frequency is not what the basis asks for; empty where it is.
std::string unlike_band(const RatingBasis& basis, const RatingStatement& stated, const TestResult& result) {
    const std::string on = text_condition(result, "limit_on", "thd");
    if (on != basis.limit_on.value) return "its limit is on " + distortion_name(on);
    const auto percent = number_condition(result, "limit_percent");
    if (!percent || std::abs(*percent - basis.limit_percent) > edge_rounding)
        return percent ? fmt::format("its limit is {:g} %", *percent) : "its limit is not stated";
    if (static_cast<double>(result.loads.size()) < stated.channels)
        return fmt::format("{} of {:g} channels driven", result.loads.size(), stated.channels);
    return {};
}

/// From so many hertz upwards the third harmonic lies outside the band in which distortion counts.
std::string judged_by_gain_words(const TestResult& result) {
    const auto band_hz = number_condition(result, "distortion_bandwidth_hz");
    if (!band_hz) return {};
    return fmt::format("; above {} judged by the fall of gain",
                       stated_text(std::round(*band_hz / 300.0) * 100.0, "Hz"));
}

Requirement band_of(const RatingBasis& basis, const RatingStatement& stated, const Session& session) {
    Requirement wanted{"band", "power measured from 20 Hz to 20 kHz", Done::no,
                       "no test of power against frequency", basis.band_source};
    for (const TestRecord& record : session.tests) {
        if (record.result.measure != "power-bandwidth" || record.result.fault) continue;
        double least = 0.0;
        double at_hz = 0.0;
        bool whole = !record.result.loads.empty();
        for (const auto& [name, numbers] : record.result.loads) {
            const capture::Load* load = find_load(session.bench, name);
            whole = whole && load != nullptr && near(load->resistance_ohm, basis.load_ohm.value);
            bool measured = false;
            for (const auto& [curve_name, curve] : numbers.curves) {
                const auto* hz = curve.find("frequency_hz");
                const auto* watts = curve.find("power_w");
                if (curve_name != "power" || hz == nullptr || watts == nullptr || hz->empty()) continue;
                measured = true;
                whole = whole && hz->front() <= 20.0 && hz->back() >= 20000.0;
                for (std::size_t i = 0; i < hz->size(); ++i) {
                    if ((*hz)[i] < 20.0 || (*hz)[i] > 20000.0) continue;
                    whole = whole && std::isfinite((*watts)[i]);
                    if (at_hz != 0.0 && !((*watts)[i] < least)) continue;
                    least = (*watts)[i];
                    at_hz = (*hz)[i];
                }
            }
            whole = whole && measured;
        }
        const std::string unlike = unlike_band(basis, stated, record.result);
        wanted.done = as_done(whole && unlike.empty());
        wanted.figure =
            whole ? fmt::format("lowest {}, at {}, the limit on {}{}",
                                stated_text(std::round(least * 100.0) / 100.0, "W"), stated_text(at_hz, "Hz"),
                                distortion_name(basis.limit_on.value), judged_by_gain_words(record.result))
                  : "not over the whole band, or into other ohms";
        if (!unlike.empty()) wanted.figure = "not judged: " + unlike;
        wanted.figure += in_test(record.id);
        if (wanted.done == Done::yes) break;
    }
    return wanted;
}

Requirement noise_of(const RatingBasis& basis, const Session& session) {
    Requirement wanted{
        "noise",
        fmt::format("signal to noise, A-weighted, re {} into {}", stated_text(basis.noise_re_w->value, "W"),
                    stated_text(basis.load_ohm.value, "ohm")),
        Done::no, "no test of noise", basis.noise_re_w->source};
    for (const TestRecord& record : session.tests) {
        for (const auto& [name, numbers] : record.result.loads) {
            const analysis::Quantity* found = numbers.find("signal_to_noise_1w_a_weighted_db");
            const capture::Load* load = find_load(session.bench, name);
            if (record.result.measure != "noise" || found == nullptr || load == nullptr) continue;
            wanted.done = as_done(near(load->resistance_ohm, basis.load_ohm.value));
            wanted.figure =
                value_text(*found) + " into " + stated_text(load->resistance_ohm, "ohm") + in_test(record.id);
            if (wanted.done == Done::yes) return wanted;
        }
    }
    return wanted;
}

Requirement preconditioning_of(const RatingBasis& basis, const RatingStatement& stated) {
    const double minutes = basis.preconditioning_minutes->value;
    Requirement wanted{
        "preconditioning",
        fmt::format("all channels at an eighth of the rated power for {:g} minutes first, 1 kHz", minutes),
        Done::not_known, "not stated", basis.preconditioning_minutes->source};
    if (!stated.preconditioning_minutes || !stated.preconditioning_w) return wanted;
    wanted.figure = fmt::format("{:g} minutes at {}, as stated by hand", *stated.preconditioning_minutes,
                                stated_text(*stated.preconditioning_w, "W"));
    if (!stated.rated_power_w) {
        wanted.figure += "; rated_power_w is not stated";
        return wanted;
    }
    wanted.done = as_done(*stated.preconditioning_minutes >= minutes &&
                          near(*stated.preconditioning_w, *stated.rated_power_w / 8.0));
    return wanted;
}

/// What an endurance test with a sine says of the rated power without a pause: every load must have kept it,
/// on average, into the ohms of the basis, for the time asked. Nothing where the test cannot tell.
std::optional<Requirement> held_by_test(const RatingBasis& basis, const RatingStatement& stated,
                                        const Session& session, const TestRecord& record,
                                        const Requirement& wanted) {
    const TestResult& result = record.result;
    if (result.measure != "endurance" || result.fault || result.loads.empty() || !stated.rated_power_w)
        return std::nullopt;
    if (number_condition(result, "crest_factor_asked_db")) return std::nullopt;  // music-like noise
    double least_minutes = basis.held_minutes->value;
    double least_w = *stated.rated_power_w;
    bool as_rated = static_cast<double>(result.loads.size()) >= stated.channels;
    for (const auto& [name, numbers] : result.loads) {
        const capture::Load* load = find_load(session.bench, name);
        const analysis::Quantity* run = numbers.find("run_minutes");
        const analysis::Quantity* power = numbers.find("mean_power_w");
        if (run == nullptr || power == nullptr) return std::nullopt;
        least_minutes = std::min(least_minutes, run->value);
        // The rated power counts as kept unless the figure says safely that it was not.
        if (power->value + power->expanded_uncertainty() < *stated.rated_power_w) as_rated = false;
        least_w = std::min(least_w, power->value);
        as_rated = as_rated && load != nullptr && near(load->resistance_ohm, basis.load_ohm.value);
    }
    Requirement told = wanted;
    // A lower level that lasts, or one channel alone, does not show that full power would not.
    const bool whole_time = least_minutes >= basis.held_minutes->value * (1.0 - edge_rounding);
    told.done = as_rated ? as_done(whole_time) : Done::not_known;
    told.figure = fmt::format(
        "{} for {:.4g} minutes{}{}", stated_text(std::round(least_w * 10.0) / 10.0, "W"), least_minutes,
        as_rated ? "" : ", not all channels at the rated power and load", in_test(record.id));
    return told;
}

Requirement held_of(const RatingBasis& basis, const RatingStatement& stated, const Session& session) {
    Requirement wanted{"held", fmt::format("full power held for {:g} minutes", basis.held_minutes->value),
                       Done::not_known, "not stated; the steps of a power test last less than a second",
                       basis.held_minutes->source};
    if (stated.held_minutes) {
        wanted.done = as_done(*stated.held_minutes >= basis.held_minutes->value);
        wanted.figure = fmt::format("{:g} minutes, as stated by hand", *stated.held_minutes);
    }
    // What was measured stands before what was stated.
    for (const TestRecord& record : session.tests) {
        const auto told = held_by_test(basis, stated, session, record, wanted);
        if (told && (told->done != Done::not_known || !stated.held_minutes)) wanted = *told;
        if (told && told->done == Done::yes) break;
    }
    return wanted;
}

Requirement ambient_of(const RatingBasis& basis, const Session& session, const PowerRow* row) {
    Requirement wanted{"ambient", "air of at least " + stated_text(basis.ambient_c->value, "degC"),
                       Done::not_known, "no reading", basis.ambient_c->source};
    const TestRecord* record = row != nullptr ? session.find(row->test) : nullptr;
    const auto ambient = record != nullptr ? number_condition(record->result, "ambient_c") : std::nullopt;
    if (!ambient) return wanted;
    wanted.done = as_done(*ambient >= basis.ambient_c->value);
    wanted.figure = stated_text(*ambient, "degC") + in_test(row->test);
    return wanted;
}

}  // namespace

std::vector<Requirement> rating_requirements(const Session& session) {
    const RatingBasis* basis = session.rating ? find_rating_basis(session.rating->basis) : nullptr;
    if (basis == nullptr) return {};
    const RatingStatement& stated = *session.rating;
    const PowerTable table = power_table(session);
    const PowerRow* row = best_row(*basis, stated, table);
    std::vector<Requirement> list;
    if (row != nullptr) {
        list = of_one_test(*basis, stated, *row);
    } else {
        list.push_back(
            {"power", "a recorded test of power", Done::no, "there is none", basis->limit_on.source});
    }
    if (basis->least_w && row != nullptr) list.push_back(from_least_of(*basis, session, *row));
    if (basis->audio_band) list.push_back(band_of(*basis, stated, session));
    if (basis->noise_re_w) list.push_back(noise_of(*basis, session));
    if (basis->preconditioning_minutes) list.push_back(preconditioning_of(*basis, stated));
    if (basis->held_minutes) list.push_back(held_of(*basis, stated, session));
    if (basis->ambient_c) list.push_back(ambient_of(*basis, session, row));
    if (!basis->unknown_words.empty())
        list.push_back({"surroundings", basis->unknown_words, Done::not_known, "nothing here can tell",
                        basis->unknown_source});
    return list;
}

std::string done_words(Done done) {
    return done == Done::yes ? "done" : done == Done::no ? "not done" : "not known";
}

std::string rating_words(const Session& session) {
    const RatingBasis* basis = session.rating ? find_rating_basis(session.rating->basis) : nullptr;
    if (basis == nullptr) return {};
    return "Measured by a method based on " + basis->method + " (" + basis->words +
           "). What was done of it, and what was not, is listed; it is no claim to follow any standard.";
}

}  // namespace assay::cli
