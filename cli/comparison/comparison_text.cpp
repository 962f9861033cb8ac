#include <fmt/format.h>

#include "cli/comparison/comparison.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"
#include "cli/report/show.h"

namespace assay::cli {
namespace {

using analysis::Quantity;
using analysis::Verdict;

constexpr std::size_t compared_columns = 31;
constexpr std::size_t side_columns = 22;
constexpr std::size_t difference_columns = 19;

std::string verdict_words(Verdict verdict) {
    switch (verdict) {
        case Verdict::met:
            return "matched";
        case Verdict::not_met:
            return "NOT MATCHED";
        case Verdict::undecided:
            break;
    }
    return "undecided";
}

/// Without the words that would stand where no uncertainty is stated.
std::string number_text(const RoundedValue& text) {
    std::string out = text.value;
    if (!text.uncertainty.empty()) out += " ± " + text.uncertainty;
    return text.unit.empty() ? out : out + ' ' + text.unit;
}

std::string short_value(const Quantity& quantity) {
    return number_text(rounded(quantity));
}

/// In per cent of the left value where that means something; of decibels and percentages the plain
/// difference.
std::string difference_text(const ComparedQuantity& compared) {
    const bool own_unit = !compared.percent || compared.left.unit == "dB";
    RoundedValue text = rounded(own_unit ? compared.difference : *compared.percent);
    if (!text.value.starts_with('-')) text.value.insert(0, 1, '+');
    // "0.10 % and 0.12 %: +0.02 %" would be read as a fiftieth of a per cent more; it is a fifth more.
    if (own_unit && text.unit == "%") text.unit = "points";
    return number_text(text);
}

std::string row(const std::string& words, const std::string& left, const std::string& right,
                const std::string& difference, const std::string& verdict) {
    std::string out;
    const auto lines = wrap(words, compared_columns - 1);
    for (std::size_t i = 0; i < lines.size(); ++i) {
        std::string line = "  " + padded(lines[i], compared_columns);
        if (i == 0) {
            line += padded(left + ' ', side_columns) + padded(right + ' ', side_columns) +
                    padded(difference + ' ', difference_columns) + verdict;
        }
        line.resize(line.find_last_not_of(' ') + 1);
        out += line + '\n';
    }
    return out;
}

std::string head_line(const std::string& label, const Session& session) {
    return label + unit_text(session.unit) + "; certificate " + visible_text(session.number, 80) + ", " +
           visible_text(session.created, 40) + (session.simulated ? ", SIMULATED BENCH" : "") + '\n';
}

std::string curve_text(const ComparedCurve& curve) {
    const auto number = [&](double value) { return two_digits(value) + ' ' + curve.unit; };
    std::string text = fmt::format(
        "  curve {}{}: {} points from {:.6g} to {:.6g} Hz{}: {} rms, {} at worst{}\n",
        visible_text(curve.name, 40), curve.load.empty() ? "" : " of " + visible_text(curve.load, 40),
        curve.points, curve.from_hz, curve.to_hz, curve.interpolated ? ", the right one interpolated" : "",
        number(curve.rms), number(curve.worst),
        curve.worst > 0.0 ? fmt::format(" (at {:.5g} Hz)", curve.worst_hz) : "");
    return text;
}

}  // namespace

std::string comparison_text(const Comparison& comparison, const Session& left, const Session& right) {
    std::string out = head_line("Left   ", left) + head_line("Right  ", right);
    if (left.unit.kind != right.unit.kind) out += "The two are of different kinds.\n";
    std::vector<std::string> tests;
    for (const TestRecord& record : left.tests) {
        if (right.find(record.id) != nullptr) tests.push_back(record.id);
    }
    for (const std::string& test : tests) {
        out += "\nTEST " + visible_text(test, 80) + "  (" +
               measure_words(left.find(test)->result.measure, left.unit.kind) + ")\n";
        for (const ComparedCondition& condition : comparison.conditions) {
            if (condition.test != test) continue;
            out += "  ! " + condition_words(condition.name, condition.left).words + ": " +
                   condition_words(condition.name, condition.left).value + " on the left, " +
                   condition_words(condition.name, condition.right).value + " on the right\n";
        }
        const std::string limit_on = text_condition(left.find(test)->result, "limit_on", "thd");
        std::string load = "\n";  // no name of a load
        for (const ComparedQuantity& compared : comparison.quantities) {
            if (compared.test != test) continue;
            if (compared.load != load) {
                load = compared.load;
                out += row(load.empty() ? "Whole test" : visible_text(load, 60), "left", "right",
                           "right re left", "");
            }
            out += row(quantity_words(compared.name, limit_on), short_value(compared.left),
                       short_value(compared.right), difference_text(compared),
                       compared.matched ? verdict_words(*compared.matched) : "");
        }
        for (const ComparedCurve& curve : comparison.curves) {
            if (curve.test == test) out += curve_text(curve);
        }
    }
    if (tests.empty()) out += "\nThe two sessions have no test in common (by its id).\n";
    if (!comparison.remarks.empty()) out += '\n';
    for (const std::string& remark : comparison.remarks) out += "! " + visible_text(remark) + '\n';
    if (comparison.within_percent && !tests.empty()) {
        const std::string within = stated_text(*comparison.within_percent, "%");
        if (!comparison.matched) {
            out += "\nNothing can be judged against " + within + ".\n";
        } else if (*comparison.matched == Verdict::met) {
            out +=
                "\nMATCHED within " + within + ", even if every difference errs by its whole uncertainty.\n";
        } else if (*comparison.matched == Verdict::not_met) {
            out += "\nNOT MATCHED within " + within + ".\n";
        } else {
            out += "\nUNDECIDED: a difference lies within its uncertainty of " + within + ".\n";
        }
    }
    out +=
        "\n± is the expanded uncertainty (k = 2, about 95 %). In the differences, what both sessions share "
        "of one\n"
        "bench cancels.\n";
    return out;
}

}  // namespace assay::cli
