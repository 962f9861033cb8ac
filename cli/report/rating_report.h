// What was done of a rating's basis: each of its conditions with the figure, from the results of a session.
// No more is said than "by a method based on": see cli/measures/judgement/rating.h.
#pragma once

#include <string>
#include <vector>

#include "cli/files/session/session.h"

namespace assay::cli {

enum class Done { yes, no, not_known };

struct Requirement {
    std::string code{};  // "supply", "load", "limit", ...
    std::string text{};  // what is wanted
    Done done = Done::not_known;
    std::string figure{};  // what there is of it, with the test
    std::string source{};  // where the condition is known from
};

/// In the order of the basis; empty where the session has none. Supply, load, limit and channels are those of
/// one and the same power test, the one that does most of them.
std::vector<Requirement> rating_requirements(const Session& session);

/// "done", "not done", "not known".
std::string done_words(Done done);

/// "Measured by a method based on ...; what was not done is listed": never more.
std::string rating_words(const Session& session);

}  // namespace assay::cli
