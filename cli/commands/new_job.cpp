#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <vector>

#include "cli/commands/commands.h"
#include "cli/commands/new_file.h"
#include "cli/commands/terminal/questions.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/measures/judgement/rating.h"
#include "cli/measures/steps/limit_name.h"

namespace assay::cli {

namespace {

using capture::Fault;
using capture::Result;

constexpr const char* not_stated = "not stated";

Result<std::string> unit_text(Questions& questions, const std::string& kind) {
    std::string text = fmt::format("[unit]\nkind = {}\n", toml_text(kind));
    const std::pair<const char*, const char*> asked[] = {{"maker", "Maker"},
                                                         {"model", "Model"},
                                                         {"serial", "Serial number"},
                                                         {"condition", "Condition, in a few words"}};
    for (const auto& [key, what] : asked) {
        const auto answer = questions.text({key, what, not_stated});
        if (!answer) return answer;
        // What nobody states stays out of the file: the page says so in its own words.
        const bool stated = *answer != not_stated && !answer->empty();
        text += fmt::format("{}{} = {}\n", stated ? "" : "# ", key, toml_text(stated ? *answer : ""));
    }
    return text;
}

/// None where the rating states no basis that is known here.
Result<const RatingBasis*> ask_basis(Questions& questions) {
    std::vector<std::string> names{"none"};
    for (const RatingBasis& basis : rating_bases()) names.push_back(basis.name);
    const auto answer =
        questions.choice({"rating_basis", "Basis of that rating, if it states one", "none"}, names);
    if (!answer) return tl::unexpected<Fault>(answer.error());
    return find_rating_basis(*answer);
}

/// Inputs that can stand at a line unit's outputs: not those of the jig, and it is known what reaches them.
std::vector<std::string> line_inputs(const capture::Bench& bench) {
    std::vector<std::string> names;
    for (std::size_t k = 0; k < bench.inputs.size(); ++k) {
        const capture::Input& input = bench.inputs[k];
        const bool of_jig = bench.jig && (bench.jig->generator_side == k || bench.jig->driver_side == k);
        const bool reached = bench.outputs.size() == 1 || !input.driven_by.empty();
        if (input.role == capture::InputRole::voltage && !of_jig && reached)
            names.push_back(toml_text(input.name));
    }
    return names;
}

Result<std::string> line_text(Questions& questions, const capture::Bench& bench) {
    const std::vector<std::string> inputs = line_inputs(bench);
    if (inputs.empty()) {
        return capture::fail(capture::FaultKind::bad_input_file,
                             "the bench has no [[input]] that says which output reaches it",
                             "add driven_by = [\"name of the output\"] to each [[input]] at the unit");
    }
    const auto controls =
        questions.text({"controls", "Where the unit's controls stand (volume, tone)", "all flat"});
    if (!controls) return controls;
    const auto volts = questions.number(
        {"rated_output_v", "Rated or claimed output, volts RMS (0: no claim)", "0"}, 0, 1000);
    if (!volts) return tl::unexpected<Fault>(volts.error());
    const auto percent =
        questions.number({"rated_thd_percent", "... at a distortion (THD) of, %", "1"}, 0.001, 40);
    if (!percent) return tl::unexpected<Fault>(percent.error());
    const std::string names = fmt::format("{}", fmt::join(inputs, ", "));
    std::string text = fmt::format(
        "\n# ---- what is measured. The id names the test in claims and its capture: letters, digits, '-', "
        "'_'.\n# A line unit gives volts and no watts: its tests name inputs in place of loads.\n\n"
        "[[test]]\nid = \"distortion\"\nmeasure = \"distortion\"\ninputs = [{0}]\ndrive_dbfs = -20.0\n"
        "controls = {1}\n\n"
        "[[test]]\nid = \"response\"\nmeasure = \"response\"\ninputs = [{0}]\ndrive_dbfs = -20.0\n"
        "controls = {1}\n\n"
        "[[test]]\nid = \"largest-volts\"\nmeasure = \"clipping-power\"\ninputs = [{0}]\n"
        "distortion_limits_percent = [{2:.6g}]\ncontrols = {1}\n\n"
        "[[test]]\nid = \"hiss\"\nmeasure = \"noise\"\ninputs = [{0}]\n{3}controls = {1}\n",
        names, toml_text(*controls), *percent,
        *volts > 0.0 ? fmt::format("reference_v = {:.6g}\n", *volts) : std::string());
    if (*volts <= 0.0) return text;
    return text + fmt::format(
                      "\n# ---- what is claimed\n\n[[claim]]\ntext = \"{0:.6g} V at {1:.6g} % THD\"\ntest = "
                      "\"largest-volts\"\ninput = {2}\nquantity = \"voltage_at_{3}_percent_v\"\nat_least = "
                      "{0:.6g}\n",
                      *volts, *percent, inputs.front(), limit_in_name(*percent));
}

Result<std::string> amplifier_text(Questions& questions, const capture::Bench& bench) {
    std::string names;
    std::string first;
    int channels = 0;
    for (const capture::Load& load : bench.loads) {
        if (!std::isfinite(load.resistance_ohm)) continue;
        if (load.bridged() && !first.empty()) continue;
        if (first.empty()) first = load.name;
        ++channels;
        names += (names.empty() ? "" : ", ") + toml_text(load.name);
        if (load.bridged()) break;
    }
    if (first.empty())
        return capture::fail(capture::FaultKind::bad_input_file, "the bench has no load with a resistance",
                             "add a [[load]] to the bench file");
    const auto power =
        questions.number({"rated_power_w", "Rated power per channel, W (0: no claim)", "0"}, 0, 20000);
    if (!power) return tl::unexpected<Fault>(power.error());
    const RatingBasis* basis = nullptr;
    if (*power > 0.0) {
        const auto chosen = ask_basis(questions);
        if (!chosen) return tl::unexpected<Fault>(chosen.error());
        basis = *chosen;
    }
    Result<double> percent = basis != nullptr ? basis->limit_percent : 1.0;
    if (basis == nullptr)
        percent = questions.number({"rated_thd_percent", "... at a distortion (THD) of, %", "1"}, 0.001, 40);
    if (!percent) return tl::unexpected<Fault>(percent.error());
    const auto supply = questions.number(
        {"supply_v", "Supply at the unit's terminals, idle, V DC by meter (0: mains)", "0"}, 0, 1000);
    if (!supply) return tl::unexpected<Fault>(supply.error());
    const std::string reading =
        *supply > 0.0 ? fmt::format(
                            "supply_idle_v = {:.6g}          # by meter, at the unit's own terminals\n"
                            "# supply_loaded_v = {:.6g}      # read it again at the loudest step\n",
                            *supply, *supply)
                      : std::string();
    std::string text;
    if (basis != nullptr) {
        text = fmt::format(
            "\n# ---- how it is rated: {}. It fills in what tests and claims leave open.\n\n[rating]\nbasis "
            "= {}\nrated_power_w = {:.6g}\nchannels = {}                   # that the unit has\n",
            basis->words, toml_text(basis->name), *power, channels);
    }
    text += fmt::format(
        "\n# ---- what is measured. The id names the test in claims and its capture: letters, digits, '-', "
        "'_'.\n\n"
        "[[test]]\nid = \"distortion\"\nmeasure = \"distortion\"\nloads = [{0}]\ndrive_dbfs = -20.0\n\n"
        "[[test]]\nid = \"power\"\nmeasure = \"clipping-power\"\nloads = [{0}]               # driven "
        "together\n"
        "frequency_hz = 997\ndistortion_limits_percent = [{1:.6g}{2}]\n{3}\n",
        names, *percent, *percent == 10.0 ? "" : ", 10", reading);
    if (*power <= 0.0) return text;
    text += fmt::format(
        "# ---- what is claimed\n\n[[claim]]\ntext = \"{0:.6g} W at {1:.6g} % {4}\"\ntest = \"power\"\nload "
        "= {2}\n"
        "quantity = \"power_at_{3}_percent_w\"\nat_least = {0:.6g}\n",
        *power, *percent, toml_text(first), limit_in_name(*percent),
        basis != nullptr && basis->limit_on.value == "thd+n" ? "THD+N" : "THD");
    if (*supply > 0.0 && basis == nullptr) text += fmt::format("at_supply_volts = {:.6g}\n", *supply);
    return text;
}

Result<std::string> driver_text(Questions& questions) {
    const auto mass =
        questions.number({"added_mass_g", "Mass that will be added to the cone, g", "20"}, 0.01, 2000);
    if (!mass) return tl::unexpected<Fault>(mass.error());
    const auto diameter = questions.number(
        {"effective_diameter_mm", "Diameter of the cone to the middle of its surround, mm", "165"}, 10, 1000);
    if (!diameter) return tl::unexpected<Fault>(diameter.error());
    const auto dc = questions.number(
        {"dc_resistance_ohm", "Resistance of the coil by meter, ohm (0: not measured)", "0"}, 0, 1000);
    if (!dc) return tl::unexpected<Fault>(dc.error());
    std::string text = fmt::format(
        "\n# ---- what is measured. Clamp the driver at its frame, axis level, a metre from walls. Cones "
        "pinch fingers.\n\n"
        "[[test]]\nid = \"free-air\"\nmeasure = \"impedance\"\n\n"
        "[[test]]\nid = \"with-mass\"                # a ring of putty near the dust cap\nmeasure = "
        "\"impedance\"\nadded_mass_g = {:.6g}\n\n"
        "[[test]]\nid = \"parameters\"\nmeasure = \"driver-parameters\"\nfree_air = \"free-air\"\nwith_mass "
        "= \"with-mass\"\n"
        "effective_diameter_mm = {:.6g}\n",
        *mass, *diameter);
    if (*dc > 0.0) text += fmt::format("dc_resistance_ohm = {:.6g}\n", *dc);
    return text;
}

}  // namespace

int run_new_job(const NewOptions& options, const Manner& manner) {
    auto questions = Questions::open(options.answers);
    if (!questions) return report(questions.error());
    const auto bench_name = questions->text({"bench", "Bench file", "bench.toml"});
    if (!bench_name) return report(bench_name.error());
    const auto bench = read_bench(*bench_name);
    if (!bench) return report(bench.error());
    const auto kind =
        questions->choice({"kind", "What is measured (line: a preamplifier, equaliser or crossover)",
                           bench->loads.empty() && bench->jig ? "driver" : "amplifier"},
                          {"amplifier", "driver", "line"});
    if (!kind) return report(kind.error());
    const auto unit = unit_text(*questions, *kind);
    if (!unit) return report(unit.error());
    const auto tests = *kind == "driver" ? driver_text(*questions)
                       : *kind == "line" ? line_text(*questions, *bench)
                                         : amplifier_text(*questions, *bench);
    if (!tests) return report(tests.error());
    const std::string text = "# A job, as `assay new job` wrote it for " + *bench_name +
                             ". `assay run --help` lists every measure and field.\n\n" + *unit + *tests;
    if (const auto read = parse_job(text, options.file.empty() ? "job.toml" : options.file.string(), *bench,
                                    bench->sample_rate_hz);
        !read)
        return report(read.error());
    const auto written = write_new_file(options.file, text, manner);
    return written ? exit_done : report(written.error());
}

}  // namespace assay::cli
