#include "cli/commands/live/jig_arrangement.h"

#include <fmt/format.h>

#include "cli/measures/impedance.h"
#include "cli/measures/measure.h"

namespace assay::cli {

namespace {

/// A curve from a file plays nothing, so nothing is put into the jig for it.
bool plays_into_jig(const Test& test) {
    return in_jig_of(test) && !test.text("from_file");
}

std::string key_of(const Test& test) {
    return test.id + "-connected";
}

}  // namespace

std::string in_the_jig(const Test& test) {
    if (const auto known = test.number("known_ohm"))
        return fmt::format("the known resistor of {:.6g} ohm in the driver's place", *known);
    const auto in_jig = in_jig_of(test);
    if (in_jig && in_jig->both_inputs_on_one_node)
        return "the driver taken off, both inputs on the generator's end of the resistor";
    std::string text = "the driver";
    if (in_jig && in_jig->added_mass_g > 0.0)
        text += fmt::format(" with {:.6g} g pressed onto its cone, near the dust cap and even all round,",
                            in_jig->added_mass_g);
    if (in_jig && in_jig->test_box_l > 0.0) {
        text += fmt::format(" on the tight test box of {:.6g} l", in_jig->test_box_l);
    } else {
        text += " in free air, its frame held firmly, nothing near the cone";
    }
    return text;
}

std::string first_in_the_jig(const Job& job) {
    for (const Test& test : job.tests) {
        if (plays_into_jig(test)) return in_the_jig(test);
    }
    return {};
}

capture::Result<void> ask_arrangement(Questions& questions, const Test& test) {
    const auto yes = questions.yes(
        {key_of(test), fmt::format("Test \"{}\": put into the jig {}. Done?", test.id, in_the_jig(test)),
         ""});
    if (!yes) return tl::unexpected<capture::Fault>(yes.error());
    if (!*yes)
        return capture::fail(capture::FaultKind::stopped,
                             fmt::format("test \"{}\": stopped by hand: the jig is not ready", test.id),
                             "go on with --resume");
    return {};
}

capture::Result<void> check_somebody_moves_jig(const Questions& questions, const Job& job) {
    if (questions.by_hand()) return {};
    std::string before = first_in_the_jig(job);
    for (const Test& test : job.tests) {
        if (!plays_into_jig(test) || in_the_jig(test) == before || questions.answers(key_of(test))) continue;
        return capture::fail(
            capture::FaultKind::bad_arguments,
            fmt::format("test \"{}\": nobody is there to put into the jig {}", test.id, in_the_jig(test)),
            "run at a terminal, or give --answers FILE with " + key_of(test) + " = \"yes\"");
    }
    return {};
}

}  // namespace assay::cli
