#include "cli/commands/session/curve_export.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <vector>

#include "analysis/driver/equivalent_circuit.h"
#include "analysis/units.h"
#include "cli/commands/session/spice_file.h"
#include "cli/files/curves/curve_tables.h"
#include "cli/files/curves/impedance_file.h"
#include "cli/files/plain_text.h"
#include "cli/measures/jig/fitted_driver.h"

namespace assay::cli {

using capture::fail;
using capture::FaultKind;

namespace {

constexpr double circuit_from_hz = 1.0;
constexpr double circuit_to_hz = 20000.0;
constexpr double promised_error = 1e-4;

struct NamedCurve {
    const TestRecord* test = nullptr;
    std::string load{};
    std::string name{};
    const analysis::Curve* curve = nullptr;
    UnitKind kind = UnitKind::amplifier;

    std::string in_words() const {
        const std::string at = kind == UnitKind::line ? " --input " : " --load ";
        return "--test " + test->id + (load.empty() ? "" : at + load) + " --curve " + name;
    }
};

void add_curves(const TestRecord& record, const std::string& load, const Numbers& numbers,
                const ExportChoice& choice, UnitKind kind, std::vector<NamedCurve>& found) {
    if (!choice.load.empty() && load != choice.load) return;
    for (const auto& [name, curve] : numbers.curves) {
        if (!choice.curve.empty() && name != choice.curve) continue;
        found.push_back({&record, load, name, &curve, kind});
    }
}

bool is_impedance(const analysis::Curve& curve) {
    return curve.find("frequency_hz") != nullptr && curve.find("magnitude_ohm") != nullptr &&
           curve.find("phase_deg") != nullptr;
}

capture::Result<NamedCurve> choose_curve(const Session& session, const ExportChoice& choice) {
    if (!choice.test.empty() && session.find(choice.test) == nullptr) {
        std::string ids;
        for (const TestRecord& record : session.tests) ids += (ids.empty() ? "" : ", ") + record.id;
        return fail(FaultKind::bad_arguments, "the session has no test " + visible_text(choice.test, 80),
                    "it has " + ids);
    }
    std::vector<NamedCurve> found;
    for (const TestRecord& record : session.tests) {
        if (!choice.test.empty() && record.id != choice.test) continue;
        add_curves(record, {}, record.result.whole, choice, session.unit.kind, found);
        for (const auto& [load, numbers] : record.result.loads) {
            add_curves(record, load, numbers, choice, session.unit.kind, found);
        }
    }
    if (choice.format == ExportFormat::touchstone) {
        std::erase_if(found, [](const NamedCurve& named) { return !is_impedance(*named.curve); });
    }
    if (found.empty()) {
        const std::string what = choice.format == ExportFormat::touchstone ? "impedance curve" : "curve";
        return fail(
            FaultKind::bad_arguments, "the session has no such " + what + " to export",
            "see `assay show SESSION` for its tests, or leave --test, --load (--input) and --curve out");
    }
    if (found.size() > 1) {
        std::string list;
        for (const NamedCurve& named : found) list += (list.empty() ? "" : " | ") + named.in_words();
        return fail(FaultKind::bad_arguments, fmt::format("{} curves fit", found.size()),
                    "say which: " + visible_text(list, 600));
    }
    return found.front();
}

std::vector<std::string> head_of(const Session& session, const TestRecord& record) {
    std::vector<std::string> lines{fmt::format("assay {}, certificate {}, {}, test {}",
                                               session.program_version, session.number, session.created,
                                               record.id)};
    if (session.simulated) lines.emplace_back("SIMULATED BENCH: these numbers show no real unit.");
    return lines;
}

analysis::ImpedanceCurve impedance_of(const analysis::Curve& curve) {
    const auto& frequency_hz = *curve.find("frequency_hz");
    const auto& magnitude_ohm = *curve.find("magnitude_ohm");
    const auto& phase_deg = *curve.find("phase_deg");
    analysis::ImpedanceCurve impedance;
    for (std::size_t i = 0; i < frequency_hz.size(); ++i) {
        impedance.points.push_back(
            {frequency_hz[i], magnitude_ohm[i] * std::polar(1.0, phase_deg[i] * analysis::radians), 0.0});
    }
    return impedance;
}

/// The band of the curve that the model was fitted to, where the session has it.
std::string band_text(const TestRecord& record) {
    for (const auto& [name, curve] : record.result.whole.curves) {
        const auto* frequency_hz = curve.find("frequency_hz");
        if (frequency_hz == nullptr || frequency_hz->empty()) continue;
        const auto [lowest, highest] = std::minmax_element(frequency_hz->begin(), frequency_hz->end());
        return fmt::format("It was measured from {:.6g} Hz to {:.6g} Hz; outside it is a guess of the model.",
                           *lowest, *highest);
    }
    return "The band that was measured is not known here.";
}

capture::Result<std::string> spice_text(const Session& session, const ExportChoice& choice) {
    const TestRecord* chosen = nullptr;
    std::optional<analysis::FittedDriver> driver;
    for (const TestRecord& record : session.tests) {
        if (!choice.test.empty() && record.id != choice.test) continue;
        const auto fitted = fitted_driver(record.result.conditions);
        if (!fitted) continue;
        if (chosen != nullptr) {
            return fail(FaultKind::bad_arguments,
                        "two tests have a fitted driver: " + chosen->id + " and " + record.id,
                        "say which with --test");
        }
        chosen = &record;
        driver = fitted;
    }
    if (chosen == nullptr) {
        return fail(FaultKind::bad_arguments,
                    choice.test.empty() ? "the session has no fitted driver"
                                        : "test " + visible_text(choice.test, 80) + " has no fitted driver",
                    "measure driver-parameters; a circuit is made from its result");
    }
    const analysis::EquivalentCircuit circuit =
        analysis::equivalent_circuit(*driver, circuit_from_hz, circuit_to_hz);
    if (!(circuit.worst_error <= promised_error)) {
        return fail(FaultKind::internal,
                    fmt::format("no circuit of plain parts comes nearer to the fitted curve than {:.2g} %",
                                100.0 * circuit.worst_error),
                    "export the curve instead (--format csv or touchstone)");
    }
    std::vector<std::string> comments = head_of(session, *chosen);
    comments[0] = "Loudspeaker driver in free air, small signals. " + comments[0];
    const analysis::Cone& cone = driver->cone;
    comments.push_back(fmt::format(
        "Fitted: Re {:.5g} ohm, fs {:.5g} Hz, Qms {:.4g}, Qes {:.4g}, creep {:.3g}, coil {}.", driver->re_ohm,
        cone.fs_hz, cone.qms, cone.qes, cone.creep_lambda, analysis::coil_name(driver->coil.kind)));
    comments.push_back(fmt::format("Within {:.2g} % of the fitted curve from {:g} Hz to {:g} Hz.",
                                   100.0 * std::max(circuit.worst_error, 1e-9), circuit_from_hz,
                                   circuit_to_hz));
    comments.push_back(band_text(*chosen));
    comments.emplace_back("No heating, no excursion limits: a large signal meets another driver.");
    return spice_subcircuit(circuit, comments);
}

}  // namespace

capture::Result<std::string> export_text(const Session& session, const ExportChoice& choice) {
    if (choice.format == ExportFormat::spice) return spice_text(session, choice);
    const auto chosen = choose_curve(session, choice);
    if (!chosen) return tl::unexpected(chosen.error());
    const std::vector<std::string> head = head_of(session, *chosen->test);
    if (choice.format == ExportFormat::touchstone)
        return impedance_touchstone(impedance_of(*chosen->curve), head);
    if (choice.format == ExportFormat::csv) return curve_table(*chosen->curve, {.line_end = "\n"});
    std::string comments;
    for (const std::string& line : head) comments += "# " + visible_text(line) + '\n';
    // "nan" is the word that plotters know.
    return curve_table(*chosen->curve,
                       {.separator = " ", .line_end = "\n", .no_number = "nan", .head = comments + "# "});
}

}  // namespace assay::cli
