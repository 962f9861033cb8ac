// What the page says of loudspeaker drivers: the table of parameters, how they were found, and the jig.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "cli/certificate/page/parts.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

/// What the quantity means, as the measure's own table says it; empty where that only says its name again.
std::string meaning_of(const std::string& measure, const std::string& quantity) {
    for (const Measure& candidate : measure_table()) {
        if (candidate.name != measure) continue;
        for (const QuantityEntry& entry : candidate.quantities) {
            if (entry.name == quantity) return entry.help == quantity_words(quantity) ? "" : entry.help;
        }
    }
    return {};
}

/// As many digits as the measured value has; the hand method has no uncertainty of its own.
std::string beside(const analysis::Quantity& quantity, double by_hand) {
    const RoundedValue text = rounded(quantity);
    const std::size_t point = text.value.find('.');
    const std::size_t decimals = point == std::string::npos ? 0 : text.value.size() - point - 1;
    return fmt::format("{:.{}f}", by_hand, decimals) + (text.unit.empty() ? "" : " " + text.unit);
}

}  // namespace

PageData driver_table(const TestRecord& record) {
    const std::string& measure = record.result.measure;
    PageData rows{PageData::type::list};
    bool any_by_hand = false;
    for (const auto& [name, quantity] : record.result.whole.quantities) {
        PageData row;
        row.set("words", first_capital(quantity_words(name)));
        const std::string meaning = meaning_of(measure, name);
        row.set("meaning", meaning.empty() ? PageData{false} : text_section(first_capital(meaning)));
        row.set("value", value_text(quantity));
        const auto by_hand = number_condition(record.result, "three_point_" + name);
        row.set("by_hand", by_hand ? beside(quantity, *by_hand) : std::string{});
        any_by_hand = any_by_hand || by_hand.has_value();
        rows << row;
    }
    PageData table{"rows", rows};
    table.set("hand", PageData{any_by_hand});
    return table;
}

std::string impedance_method(const TestRecord& record) {
    std::string text;
    if (record.takes.empty()) {
        text =
            "The curve was taken from a file that another program wrote (its name stands in the conditions)";
    } else {
        text =
            "A tone of many steady lines was played through a known resistor into the driver, and the "
            "voltages before and behind the resistor were recorded by two inputs of one converter. The "
            "impedance at each line is their ratio, with its scatter from the recording itself; lines that "
            "hum or noise spoiled are left out. Differences between the inputs, the input’s own resistance "
            "and the lead were taken out in this order, as far as the bench states them. The level was "
            "small: it stands as the voltage at resonance";
    }
    return text +
           ". The frequency of the peak is the top of a curve laid through the points about it. Method based "
           "on IEC 60268-5, with a tone of many lines in the place of a slow sweep.";
}

std::string parameters_method(const TestRecord& record) {
    const TestResult& result = record.result;
    std::string text =
        "A model of the driver (resistance, lossy coil, moving mass, suspension, losses) was fitted to the "
        "complex impedance by weighted least squares, all curves together; which kind of coil and suspension "
        "the data call for was decided by an information criterion.";
    const auto from = number_condition(result, "fit_from_hz");
    const auto to = number_condition(result, "fit_to_hz");
    if (from && to) text += fmt::format(" Band of the fit: {:.4g} Hz to {:.4g} Hz.", *from, *to);
    if (const std::string coil = text_condition(result, "coil_model", ""); !coil.empty()) {
        text += " Coil: " + visible_text(coil, 60) + ".";
    }
    text +=
        " The relations between the parameters are those of Thiele and Small. No correction for air that "
        "moves with the cone; sensitivity is computed from the parameters, for half space, and holds where "
        "the cone moves as one piece: no microphone heard it.";
    if (number_condition(result, "three_point_fs_hz")) {
        text +=
            " By three points: the textbook reading of the peak and of the two frequencies beside it, as a "
            "check by hand; it leans with the coil’s inductance.";
    }
    return text;
}

std::string match_method() {
    return "Both inputs heard the same voltage; their ratio, against frequency, is what the impedance tests "
           "are corrected by.";
}

PageData jig_part(const Session& session) {
    if (!session.bench.jig) return PageData{false};
    const capture::ImpedanceJig& jig = *session.bench.jig;
    const std::string doubt = doubt_text(jig.series_doubts);
    std::string text = fmt::format(
        "Series resistor {} ({}), {}; {} at the generator’s end, {} between resistor and driver; lead {}",
        stated_text(jig.series_ohm, "ohm"),
        doubt.empty() ? "no uncertainty stated" : doubt + " standard uncertainty",
        jig.topology == capture::ImpedanceJig::Topology::series_high ? "between generator and driver"
                                                                     : "between driver and ground",
        input_name(session.bench, jig.generator_side), input_name(session.bench, jig.driver_side),
        stated_text(jig.lead_ohm, "ohm"));
    if (jig.input_resistance_ohm)
        text += "; input resistance " + stated_text(*jig.input_resistance_ohm, "ohm");
    text += jig.match_file.empty() ? "; the inputs are taken as equal" : "; the inputs were matched";
    return text_section(text);
}

}  // namespace assay::cli
