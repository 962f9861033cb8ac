#include <fmt/format.h>

#include <cmath>

#include "cli/commands/commands.h"
#include "cli/commands/new_file.h"
#include "cli/commands/questions.h"
#include "cli/files/bench_file.h"
#include "cli/files/job_file.h"

namespace assay::cli {

namespace {

using capture::Fault;
using capture::Result;

Result<std::string> unit_text(Questions& questions, const std::string& kind) {
    std::string text = fmt::format("[unit]\nkind = {}\n", toml_text(kind));
    const std::pair<const char*, const char*> asked[] = {{"maker", "Maker"},
                                                         {"model", "Model"},
                                                         {"serial", "Serial number"},
                                                         {"condition", "Condition, in a few words"}};
    for (const auto& [key, what] : asked) {
        const auto answer = questions.text({key, what, "not stated"});
        if (!answer) return answer;
        text += fmt::format("{} = {}\n", key, toml_text(*answer));
    }
    return text;
}

Result<std::string> amplifier_text(Questions& questions, const capture::Bench& bench) {
    std::string names;
    std::string first;
    for (const capture::Load& load : bench.loads) {
        if (!std::isfinite(load.resistance_ohm)) continue;
        if (load.bridged() && !first.empty()) continue;
        if (first.empty()) first = load.name;
        names += (names.empty() ? "" : ", ") + toml_text(load.name);
        if (load.bridged()) break;
    }
    if (first.empty())
        return capture::fail(capture::FaultKind::bad_input_file, "the bench has no load with a resistance",
                             "add a [[load]] to the bench file");
    const auto power =
        questions.number({"rated_power_w", "Rated power per channel, W (0: no claim)", "0"}, 0, 20000);
    if (!power) return tl::unexpected<Fault>(power.error());
    const auto percent = questions.number({"rated_thd_percent", "... at % THD", "1"}, 0.001, 40);
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
    std::string text = fmt::format(
        "\n# ---- what is measured. The id names the test in claims and its capture: letters, digits, '-', "
        "'_'.\n\n"
        "[[test]]\nid = \"distortion\"\nmeasure = \"distortion\"\nloads = [{0}]\ndrive_dbfs = -20.0\n\n"
        "[[test]]\nid = \"power\"\nmeasure = \"clipping-power\"\nloads = [{0}]               # driven "
        "together\n"
        "frequency_hz = 997\ndistortion_limits_percent = [{1:.6g}{2}]\n{3}\n",
        names, *percent, *percent == 10.0 ? "" : ", 10", reading);
    if (*power <= 0.0) return text;
    std::string limit = fmt::format("{}", *percent);
    for (char& letter : limit) letter = letter == '.' ? '_' : letter;
    text += fmt::format(
        "# ---- what is claimed\n\n[[claim]]\ntext = \"{0:.6g} W at {1:.6g} % THD\"\ntest = \"power\"\nload "
        "= {2}\n"
        "quantity = \"power_at_{3}_percent_w\"\nat_least = {0:.6g}\n",
        *power, *percent, toml_text(first), limit);
    if (*supply > 0.0) text += fmt::format("at_supply_volts = {:.6g}\n", *supply);
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
    auto questions = Questions::open(options.answers, manner);
    if (!questions) return report(questions.error());
    const auto bench_name = questions->text({"bench", "Bench file", "bench.toml"});
    if (!bench_name) return report(bench_name.error());
    const auto bench = read_bench(*bench_name);
    if (!bench) return report(bench.error());
    const auto kind = questions->choice(
        {"kind", "What is measured", bench->loads.empty() && bench->jig ? "driver" : "amplifier"},
        {"amplifier", "driver"});
    if (!kind) return report(kind.error());
    const auto unit = unit_text(*questions, *kind);
    if (!unit) return report(unit.error());
    const auto tests = *kind == "driver" ? driver_text(*questions) : amplifier_text(*questions, *bench);
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
