// How it was measured, on which bench, and what was not tested.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "cli/certificate/page/parts.h"
#include "cli/files/plain_text.h"
#include "cli/report/basis.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

bool tested(const Session& session, const std::string& measure) {
    return std::any_of(session.tests.begin(), session.tests.end(), [&](const TestRecord& record) {
        return record.result.measure == measure && !record.result.fault;
    });
}

struct Staircase {
    int steps = 0;
    double low_dbfs = 0.0;
    double high_dbfs = 0.0;
    double shortest_s = 0.0;
    double longest_s = 0.0;
};

Staircase staircase_of(const TestRecord& record) {
    Staircase stairs;
    for (const Take& take : record.takes) {
        for (const capture::Segment& segment : take.tone.segments) {
            if (segment.role != capture::SegmentRole::step) continue;
            const double length_s = static_cast<double>(segment.frames) / take.tone.rate_hz;
            const bool first = stairs.steps++ == 0;
            stairs.low_dbfs = first ? segment.level_dbfs : std::min(stairs.low_dbfs, segment.level_dbfs);
            stairs.high_dbfs = first ? segment.level_dbfs : std::max(stairs.high_dbfs, segment.level_dbfs);
            stairs.shortest_s = first ? length_s : std::min(stairs.shortest_s, length_s);
            stairs.longest_s = first ? length_s : std::max(stairs.longest_s, length_s);
        }
    }
    return stairs;
}

std::string length_text(const Staircase& stairs) {
    if (stairs.longest_s < 1.05 * stairs.shortest_s) return two_digits(stairs.longest_s) + " s";
    return two_digits(stairs.shortest_s) + " to " + two_digits(stairs.longest_s) + " s";
}

std::string tone_text(const TestRecord& record) {
    const auto frequency = tone_frequency_hz(record);
    return frequency ? "A sine of " + stated_text(*frequency, "Hz") : std::string("A sine tone");
}

std::string clipping_method(const TestRecord& record) {
    const Staircase stairs = staircase_of(record);
    std::string text = tone_text(record);
    if (stairs.steps > 0) {
        text += fmt::format(" was played in {} steps from {:.4g} to {:.4g} dB re full scale, {} each",
                            stairs.steps, stairs.low_dbfs, stairs.high_dbfs, length_text(stairs));
    } else {
        text += " was played in rising steps";
    }
    text +=
        ", while the voltage at every load was recorded. In each step the tone and its harmonics were found "
        "by a least-squares sine fit, by a method based on IEEE 1057. The power at a distortion limit is "
        "taken where the distortion crosses the limit for the last time on the way up, between two steps. It "
        "is the distortion-limited output power by a method based on IEC 60268-3, with this difference: no "
        "level was held for a minute or more. Clipping begins where half a decibel more drive gives less "
        "than a quarter of a decibel more peak, judged for each half of the wave.";
    return text;
}

std::string distortion_method(const TestRecord& record) {
    return tone_text(record) +
           " was played at one level; its harmonics were found by a least-squares sine fit, by a method "
           "based on IEEE 1057, and what is left after taking out the tone is the noise.";
}

std::string burst_method(const TestRecord& record) {
    const auto on_ms = number_condition(record.result, "on_ms");
    const auto off_ms = number_condition(record.result, "off_ms");
    const auto below_db = number_condition(record.result, "off_below_db");
    const std::string bursts =
        on_ms && off_ms && below_db
            ? fmt::format("Bursts of {} were played, with the tone {} lower for {} between them",
                          stated_text(*on_ms, "ms"), stated_text(*below_db, "dB"), stated_text(*off_ms, "ms"))
            : std::string("Bursts of the tone were played, with pauses between them");
    return bursts + ", at rising levels; distortion and power were read inside the bursts alone.";
}

std::string meter_method() {
    return "The voltage across the load was read from a meter by hand, at the level told in the conditions. "
           "Power is the square of the reading over the resistance.";
}

std::string stated_doubt(const std::vector<capture::RelativeDoubt>& doubts) {
    const std::string text = doubt_text(doubts);
    return text.empty() ? "none stated" : text;
}

std::string frequencies_tested(const Session& session) {
    std::set<double> frequencies;
    for (const TestRecord& record : session.tests) {
        if (const auto frequency = tone_frequency_hz(record)) frequencies.insert(*frequency);
    }
    std::string text;
    for (const double frequency : frequencies)
        text += (text.empty() ? "" : ", ") + stated_text(frequency, "Hz");
    return text;
}

bool bridged_tested(const Session& session) {
    for (const TestRecord& record : session.tests) {
        for (const auto& [name, numbers] : record.result.loads) {
            const capture::Load* load = find_load(session.bench, name);
            if (load != nullptr && load->bridged()) return true;
        }
    }
    return false;
}

}  // namespace

PageData methods_part(const Session& session) {
    PageData list{PageData::type::list};
    const auto add = [&](const std::string& lead, const std::string& text) {
        PageData entry = text_section(text);
        entry.set("lead", lead);
        list << entry;
    };
    // Tests made in the same way share a paragraph.
    struct Method {
        std::string measure{};
        std::string text{};
        std::string tests{};
        int count = 0;
    };
    std::vector<Method> methods;
    for (const TestRecord& record : session.tests) {
        const std::string& measure = record.result.measure;
        std::string text = common_method(measure);
        if (measure == "clipping-power") text = clipping_method(record);
        if (measure == "distortion") text = distortion_method(record);
        if (measure == "burst-power") text = burst_method(record);
        if (measure == "meter-power") text = meter_method();
        if (measure == "impedance") text = impedance_method(record);
        if (measure == "driver-parameters") text = parameters_method(record);
        if (measure == "match") text = match_method();
        if (text.empty()) continue;
        auto same = std::find_if(methods.begin(), methods.end(),
                                 [&](const Method& m) { return m.measure == measure && m.text == text; });
        if (same == methods.end()) same = methods.insert(methods.end(), Method{measure, text, {}, 0});
        same->tests += (same->count++ == 0 ? "" : ", ") + visible_text(record.id, 80);
    }
    for (const Method& method : methods) {
        add(first_capital(measure_words(method.measure, session.unit.kind)) +
                (method.count == 1 ? " (test " : " (tests ") + method.tests + ")",
            method.text);
    }
    add("Uncertainty",
        "Each cause of doubt (input scales, meters, load resistance, noise, the recorder’s own distortion, "
        "interpolation) is kept by its name and carried into every number that it touches, by a method based "
        "on JCGM 100 (the GUM), so that what two numbers share cancels or adds as it should. Effects that "
        "are not in that list, such as a load that warms unnoticed, are not in the uncertainty.");
    return list;
}

PageData not_tested_part(const Session& session) {
    PageData list{PageData::type::list};
    const auto add = [&](const std::string& text) { list << text_section(text); };
    add("Sound by ear; rattles, crackles and noises that come and go");
    if (session.unit.kind == UnitKind::line) {
        if (!tested(session, "clipping-power")) add("The largest output volts");
        add("Other positions of the controls than those stated, and what hangs at the output besides");
        if (!tested(session, "response")) add("Frequency response");
        if (!tested(session, "noise")) add("Noise and hum");
        if (!tested(session, "separation")) add("Separation of the channels");
        if (!tested(session, "intermodulation")) add("Intermodulation");
        if (!tested(session, "output-impedance")) add("Output impedance");
        if (!tested(session, "distortion") && !tested(session, "clipping-power")) add("Distortion");
    } else if (session.unit.kind != UnitKind::driver) {
        const std::string tested_at = frequencies_tested(session);
        if (!tested(session, "power-bandwidth")) {
            add("Power at other frequencies" + (tested_at.empty() ? std::string{} : " than " + tested_at));
        }
        if (!tested(session, "endurance")) add("Long-term heat: minutes or hours at power");
        add("Other loads and supply voltages than those stated");
        if (!bridged_tested(session)) add("Bridged operation");
        if (!tested(session, "response")) add("Frequency response");
        if (!tested(session, "noise")) add("Noise and hum");
        if (!tested(session, "separation")) add("Separation of the channels");
        if (!tested(session, "intermodulation")) add("Intermodulation");
        if (!tested(session, "output-impedance")) add("Output impedance and damping");
        if (!tested(session, "burst-power")) add("Short-term (burst) power");
        if (!tested(session, "distortion") && !tested(session, "clipping-power")) add("Distortion");
        const bool offset =
            std::any_of(session.tests.begin(), session.tests.end(), [](const TestRecord& record) {
                return number_condition(record.result, "dc_offset_mv").has_value();
            });
        if (!offset) add("DC at the output");
        add("Protections: short circuit, overheating, reversed supply");
    } else {
        if (!tested(session, "impedance")) add("Impedance");
        if (!tested(session, "driver-parameters")) add("Driver parameters");
        add("Response and sensitivity by microphone");
        add("Distortion, rubbing and buzzing at larger strokes");
        add("Largest stroke, and long-term power handling");
    }
    add("Controls, switches, filters, connectors, fans and lamps");
    add("Electrical safety");
    return list;
}

void add_bench(const Session& session, PageData& page) {
    PageData inputs{PageData::type::list};
    for (const capture::Input& input : session.bench.inputs) {
        PageData row;
        row.set("name", visible_text(input.name, 60));
        row.set("channel", std::to_string(input.channel));
        row.set("scale", fmt::format("{:.5g} V{}", input.volts_at_full_scale * input.attenuation,
                                     input.inverted ? ", inverted" : ""));
        row.set("doubt", stated_doubt(input.scale_doubts));
        row.set("clean",
                input.clean_up_to_dbfs ? stated_text(*input.clean_up_to_dbfs, "dBFS") : "not stated");
        inputs << row;
    }
    PageData loads{PageData::type::list};
    bool any_load = false;
    for (const capture::Load& load : session.bench.loads) {
        if (load.bare_input) continue;  // it stands among the inputs
        any_load = true;
        PageData row;
        row.set("name", visible_text(load.name, 60));
        row.set("resistance", stated_text(load.resistance_ohm, "ohm"));
        row.set("doubt", stated_doubt(load.resistance_doubts));
        row.set("wiring", input_name(session.bench, load.plus) + " and " +
                              (load.minus ? input_name(session.bench, *load.minus)
                                          : std::string("the recorder’s ground")));
        loads << row;
    }
    page.set("jig", jig_part(session));
    page.set("loads_follow", PageData{any_load});
    page.set("line_unit", PageData{session.unit.kind == UnitKind::line});
    page.set("driver_unit", PageData{session.unit.kind == UnitKind::driver});
    page.set("inputs", inputs);
    page.set("loads", loads);
    std::string recordings;
    for (const TestRecord& record : session.tests) {
        for (const Take& take : record.takes) {
            const capture::Recording& recording = take.recording;
            recordings +=
                (recordings.empty() ? "" : "; ") + visible_text(recording.path.filename().string(), 80) +
                fmt::format(" ({}, {:.6g} Hz, {} {})", visible_text(recording.format, 40), recording.rate_hz,
                            recording.channels, recording.channels == 1 ? "channel" : "channels");
        }
    }
    if (!recordings.empty()) page.set("recordings", text_section(recordings));
}

}  // namespace assay::cli
