// A session that is written, read and written again is the same text, whatever its numbers are.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <random>

#include "cli/files/session_file.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {

RC_GTEST_PROP(SessionText, WrittenReadAndWrittenItIsTheSame, ()) {
    Session session = hand_made::amplifier();
    std::mt19937_64 random(*rc::gen::arbitrary<std::uint64_t>());
    std::uniform_real_distribution<double> power(-12.0, 12.0);
    // All digits of a double are drawn: a text that drops one of them is found.
    const auto drawn = [&] { return (random() % 2 == 0 ? 1.0 : -1.0) * std::pow(10.0, power(random)); };
    for (auto& test : session.tests) {
        for (auto& [load, findings] : test.result.loads) {
            for (auto& [name, quantity] : findings.quantities) {
                quantity.value = drawn();
                for (auto& [source, contribution] : quantity.contributions) contribution = drawn();
            }
        }
    }
    const std::filesystem::path folder =
        std::filesystem::path(testing::TempDir()) / ("assay-property-session-" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder);
    const bool written = write_session(session, folder).has_value();
    const auto read = read_session(folder);
    std::filesystem::remove_all(folder);
    RC_ASSERT(written);
    RC_ASSERT(read.has_value());
    RC_ASSERT(session_text(*read) == session_text(session));
}

}  // namespace assay::cli
