// The words of the first page, of each kind of unit and with each verdict, as they were read and found good
// (fixtures/first_page/). They show what a change does to the page; whether the figures are right is tested
// elsewhere.
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <regex>
#include <sstream>

#include "cli/certificate/certificate.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

std::string replaced(const std::string& text, const std::string& pattern, const std::string& by) {
    return std::regex_replace(text, std::regex(pattern), by);
}

/// What a reader sees of the first page, a line for each paragraph, row or heading.
std::string first_page_words(const Session& session) {
    PageOptions options;
    options.fingerprint = "7K3M-Q2XV-0000-0000-0000-0000";
    const std::string page = certificate_page(session, {}, options);
    const std::size_t start = page.find("<div class=\"sheet\">");
    std::string text = page.substr(start, page.find("<div class=\"details\">") - start);
    // Drawings are long; they go before any regular expression sees them.
    for (std::size_t at = text.find("<svg"); at != std::string::npos; at = text.find("<svg"))
        text.erase(at, text.find("</svg>", at) + 6 - at);
    text = replaced(text, "[ \n]+", " ");
    text = replaced(text, "</(p|tr|h1|h2|div)>", "\n");
    text = replaced(text, "</t[hd]> ?<t[hd][^>]*>", " | ");
    text = replaced(text, "<[^>]*>", "");
    text = replaced(text, "&lt;", "<");
    text = replaced(text, " *\n[ \n]*", "\n");
    return replaced(text, "^[ \n]+", "");
}

std::string difference(const std::string& kept, const std::string& now) {
    std::istringstream old_lines(kept);
    std::istringstream new_lines(now);
    std::string text;
    std::string a;
    std::string b;
    for (int line = 1; line < 500; ++line) {
        const bool more_old = static_cast<bool>(std::getline(old_lines, a));
        const bool more_new = static_cast<bool>(std::getline(new_lines, b));
        if (!more_old && !more_new) break;
        if (more_old && more_new && a == b) continue;
        if (more_old) text += "line " + std::to_string(line) + " - " + a + '\n';
        if (more_new) text += "line " + std::to_string(line) + " + " + b + '\n';
    }
    return text;
}

class FirstPage : public testing::TestWithParam<std::pair<const char*, Session (*)()>> {};

TEST_P(FirstPage, SaysWhatWasFoundGood) {
    const auto& [name, make] = GetParam();
    const std::string file = std::string(ASSAY_FIXTURES) + "/first_page/" + name + ".txt";
    const std::string now = first_page_words(make());
    if (std::getenv("ASSAY_RENEW_PAGES") != nullptr) {
        ASSERT_EQ(std::getenv("CI"), nullptr) << "pages are renewed by a person who reads them";
        std::ofstream(file, std::ios::binary) << now;
    }
    std::ifstream stored(file, std::ios::binary);
    ASSERT_TRUE(stored) << file << " is not there";
    std::ostringstream kept;
    kept << stored.rdbuf();
    EXPECT_TRUE(kept.str() == now) << file << " (- kept, + now):\n"
                                   << difference(kept.str(), now)
                                   << "Is the change meant? Run ASSAY_RENEW_PAGES=1 unit_certificate "
                                      "--gtest_filter='*FirstPage*', read what git diff shows, commit it.";
}

using hand_made::amplifier;

INSTANTIATE_TEST_SUITE_P(
    Kinds, FirstPage,
    testing::Values(std::pair{"amplifier", +[] { return amplifier(); }},
                    std::pair{"amplifier-not-met", +[] { return amplifier(12.5); }},
                    std::pair{"every-verdict", +[] { return hand_made::many_verdicts(); }},
                    std::pair{"untrusted", +[] { return hand_made::with_fault(); }},
                    std::pair{"driver", +[] { return hand_made::driver(); }},
                    std::pair{"pair", +[] { return hand_made::pair_of_inputs(); }},
                    std::pair{"line", +[] { return hand_made::line(); }},
                    std::pair{"bare", +[] { return hand_made::bare(); }},
                    std::pair{"crowd", +[] { return hand_made::crowd(); }}),
    [](const auto& test) { return std::regex_replace(std::string(test.param.first), std::regex("-"), "_"); });

}  // namespace
}  // namespace assay::cli
