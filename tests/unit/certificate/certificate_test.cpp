// The certificate page: complete, self-contained, honest about its bench, and safe against the texts that it
// shows.
#include "cli/certificate/certificate.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <map>
#include <regex>
#include <set>

#include "cli/certificate/page/page.h"
#include "cli/certificate/page/parts.h"
#include "cli/certificate/plots/gnuplot.h"
#include "cli/certificate/plots/plots.h"
#include "cli/certificate/plots/supply_plot.h"
#include "cli/measures/measure.h"
#include "support/folder.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

using testing::HasSubstr;
using testing::Not;
using Plots = std::vector<std::pair<std::string, std::string>>;

std::vector<std::pair<std::string, Session>> all_sessions() {
    return {{"met", hand_made::amplifier()},      {"not met", hand_made::amplifier(12.5)},
            {"many", hand_made::many_verdicts()}, {"fault", hand_made::with_fault()},
            {"bare", hand_made::bare()},          {"hostile", hand_made::hostile()},
            {"driver", hand_made::driver()},      {"powers", hand_made::powers()},
            {"crowd", hand_made::crowd()}};
}

Plots drawings_of(const Session& session) {
    Plots plots;
    for (const TestRecord& record : session.tests) {
        for (const NamedPlot& plot : plots_of(session, record)) {
            auto svg = draw_plot(session, plot);
            EXPECT_TRUE(svg) << svg.error().text;
            if (svg) plots.emplace_back(plot.file, *svg);
        }
    }
    if (const auto supply = supply_plot(session)) {
        auto svg = draw_plot(session, {supply_plot_file, *supply});
        EXPECT_TRUE(svg) << svg.error().text;
        if (svg) plots.emplace_back(supply_plot_file, *svg);
    }
    return plots;
}

std::string page_of(const Session& session) {
    return certificate_page(session, drawings_of(session));
}

/// All matches of the first group.
std::vector<std::string> matches(const std::string& text, const std::string& pattern) {
    const std::regex regex(pattern);
    std::vector<std::string> found;
    for (std::sregex_iterator match(text.begin(), text.end(), regex); match != std::sregex_iterator();
         ++match) {
        found.push_back((*match)[1]);
    }
    return found;
}

int count(const std::string& text, const std::string& part) {
    int found = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
        ++found;
    return found;
}

TEST(Methods, EveryMeasureHasOneOnThePage) {
    const std::set<std::string> told_by_test{"clipping-power", "distortion", "burst-power",
                                             "meter-power",    "impedance",  "driver-parameters",
                                             "match"};
    for (const Measure& measure : measure_table())
        EXPECT_NE(told_by_test.contains(measure.name), !common_method(measure.name).empty()) << measure.name;
}

TEST(Sentences, QuoteACommandAsPaperDoes) {
    EXPECT_EQ(as_sentence("run `assay calibrate loopback` again"), "Run “assay calibrate loopback” again.");
    EXPECT_EQ(as_sentence("`assay run` or `assay check`"), "“assay run” or “assay check”.");
    EXPECT_EQ(as_sentence("a load named `x`, `assay "), "A load named `x`, `assay.");
}

TEST(Page, EveryNameInTheTemplateIsFilled) {
    // The template library gives nothing for a name that it does not know. Each name is wrapped in marks, and
    // the marks are looked for in the pages.
    const std::string original(certificate_page_template);
    const std::string marked = std::regex_replace(
        std::regex_replace(original, std::regex(R"(\{\{([#^])([a-z_]+)\}\})"), "{{$1$2}}[[in $1$2]]"),
        std::regex(R"(\{\{(\{?[a-z_]+\}?)\}\})"), "[[$1={{$1}}=]]");
    const std::set<std::string> may_be_empty{"advice", "mend", "sentence", "by_hand", "glossary"};
    std::map<std::string, int> seen;
    std::vector<std::pair<std::string, Session>> sessions = all_sessions();
    Session twice = hand_made::amplifier();  // the second plot stands with its test
    twice.tests.push_back(twice.tests.front());
    twice.tests.back().id = "again";
    sessions.emplace_back("twice", twice);
    Session hums = twice;  // four findings, of which the first page shows two
    for (TestRecord& test : hums.tests) {
        test.result.measure = "noise";
        for (auto& [load, numbers] : test.result.loads) {
            numbers.add("hum_v", hand_made::quantity(0.5, "V", {{"input:probe-a:scale", 0.003}}));
            numbers.add("mains_hz", hand_made::quantity(50.0, "Hz", {{"input:probe-a:scale", 0.01}}));
        }
    }
    sessions.emplace_back("hums", hums);
    Session line = hand_made::amplifier();
    line.unit.kind = UnitKind::line;
    sessions.emplace_back("line", line);
    // The second ends too early to be called clean.
    const std::string picture("\x89PNG\r\n\x1A\n\0\0\0\0IEND\xAE\x42\x60\x82", 20);
    const NamedTexts clean{{"photographs/front.png", picture}};
    const NamedTexts unclean{{"photographs/front.png", picture.substr(0, 8)}};
    for (const auto& [name, session] : sessions) {
        PageOptions options;
        const bool is_checkable = name != "bare";
        if (is_checkable) options.fingerprint = "7K3M-Q2XV-0000-0000-0000-0000";
        if (name == "met") options.key_fingerprint = "0000-Q2XV-0000-0000-0000-0000";
        const std::string page = certificate_page_from(marked, session, drawings_of(session), options,
                                                       name == "met"    ? clean
                                                       : name == "many" ? unclean
                                                                        : NamedTexts{});
        for (const std::string& opened : matches(page, R"(\[\[in ([#^][a-z_]+)\]\])")) ++seen[opened];
        for (const std::string& key : matches(page, R"(\[\[\{?([a-z_]+)\}?=)")) ++seen[key];
        for (const std::string& empty : matches(page, R"(\[\[\{?([a-z_]+)\}?==\]\])")) {
            EXPECT_TRUE(may_be_empty.count(empty) == 1) << name << ": {{" << empty << "}} gave nothing";
        }
    }
    {
        const Session session = hand_made::amplifier();
        const std::string page = certificate_page_from(marked, session, {});
        for (const std::string& opened : matches(page, R"(\[\[in ([#^][a-z_]+)\]\])")) ++seen[opened];
    }
    for (const std::string& key : matches(original, R"(\{\{\{?([#^]?[a-z_]+)\}?\}\})")) {
        EXPECT_GT(seen[key], 0) << "{{" << key << "}} never shows on any page";
    }
}

TEST(Page, HoldsNoAddressOfTheOutsideAndOneScriptOfItsOwn) {
    for (const auto& [name, session] : all_sessions()) {
        const std::string page = page_of(session);
        EXPECT_THAT(page, Not(HasSubstr("http:"))) << name;
        EXPECT_THAT(page, Not(HasSubstr("https:"))) << name;
        EXPECT_EQ(count(page, "<script"), 1) << name;
        EXPECT_EQ(count(page, "<script>"), 1) << name;
        EXPECT_THAT(page, Not(HasSubstr("<link"))) << name;
        EXPECT_THAT(page, Not(HasSubstr("@import"))) << name;
        for (const std::string& source : matches(page, R"re([ ]src=["']([^"']*))re"))
            EXPECT_THAT(source, testing::StartsWith("data:image/"));
        for (const std::string& target : matches(page, R"re(href=["']([^"']*))re"))
            EXPECT_EQ(target.front(), '#');
        for (const std::string& target : matches(page, R"(url\(['"]?([^)'"]*))"))
            EXPECT_EQ(target.front(), '#');
    }
}

TEST(Page, NoNumberStandsWithoutItsUnit) {
    const std::regex value(
        R"(-?\d[\d.e+-]*( ± [\d.e+-]+)? (W|mW|V|mV|µV|%|dB|Hz|Ω)( \(no uncertainty stated\)|, inverted)?)");
    int values = 0;
    for (const auto& [name, session] : all_sessions()) {
        for (const std::string& cell : matches(page_of(session), R"re(<td class="value">([^<]*)</td>)re")) {
            ++values;
            // A driver's Q is a bare ratio; a hand value may be missing.
            const bool ratio = name == "driver" && (cell == "0.5500 ± 0.0060" || cell.empty());
            EXPECT_TRUE(ratio || cell == "no number" || std::regex_match(cell, value))
                << name << ": " << cell;
        }
        for (const std::string& cell : matches(page_of(session), R"re(<b class="big">([^<]*)</b>)re")) {
            EXPECT_TRUE(std::regex_match(cell, value)) << name << ": " << cell;
        }
    }
    EXPECT_GT(values, 50);
}

TEST(Page, EveryPowerRowIsFollowedByItsConditions) {
    for (const auto& [name, session] : all_sessions()) {
        const std::string page = page_of(session);
        const std::regex row(
            R"re(<tr[^>]*><th>[^<]*</th>((?:<td class="value">[^<]*</td>)+)</tr>\s*(<tr class="basis"><td colspan="\d+">at [^<]*supply[^<]*(driven)[^<]*)?)re");
        int powers = 0;
        for (std::sregex_iterator match(page.begin(), page.end(), row); match != std::sregex_iterator();
             ++match) {
            const std::string cells = (*match)[1];
            if (!std::regex_search(cells, std::regex(R"(\d m?W)"))) continue;
            ++powers;
            EXPECT_TRUE((*match)[3].matched) << name << ": " << cells;
        }
        EXPECT_EQ(powers > 0, name != "fault" && name != "driver") << name;
    }
}

TEST(Page, SaysWhatACertificateMust) {
    const std::string page = page_of(hand_made::many_verdicts());
    for (const char* part : {"Test certificate",
                             "Independent bench report",
                             "Not an accredited calibration",
                             "not a maker’s certificate",
                             "A-20260314-150926-7F3C",
                             "2026-03-14",
                             "Birkenhof Audio Tandem 225",
                             "BH-0417-2231",
                             "concerns this unit only",
                             "49.4 ± 3.0 W",
                             "claimed: at least 22 W",
                             "13.9 V supply",
                             "by a method based on IEC 60268-3",
                             "by a method based on JCGM 106",
                             "w = U",
                             "What was not tested</h2>",
                             "Sound by ear",
                             "live at both terminals",
                             "A battery that is short-circuited",
                             "hot enough to burn",
                             "qualified people only",
                             "harm hearing",
                             "measure it with four wires",
                             "23.4 V",
                             "limit told by: clip lamp",
                             "End of test certificate",
                             "counter(pages)"}) {
        EXPECT_THAT(page, HasSubstr(part));
    }
    EXPECT_EQ(count(page, "<span>Met</span>"), 2);
    EXPECT_EQ(count(page, "<span>Not met</span>"), 1);
    EXPECT_EQ(count(page, "<span>Undecided</span>"), 3);
    EXPECT_EQ(page.find("compl"), page.find("complete")) << "never says that anything complies";
}

TEST(Page, WhatWasTestedIsNotListedAsUntested) {
    Session session = hand_made::amplifier();
    const auto list_of = [](const std::string& page) {
        return page.substr(page.find("What was not tested</h2>"));
    };
    EXPECT_THAT(list_of(page_of(session)), HasSubstr("<li>Noise and hum</li>"));
    EXPECT_THAT(list_of(page_of(session)), HasSubstr("<li>Bridged operation</li>"));
    TestRecord noise;
    noise.id = "noise";
    noise.result.measure = "noise";
    session.tests.push_back(noise);
    session.bench.loads[0].minus = 1;
    EXPECT_THAT(list_of(page_of(session)), Not(HasSubstr("Noise and hum")));
    EXPECT_THAT(list_of(page_of(session)), Not(HasSubstr("Bridged operation</li>")));
    session.tests.back().result.fault = capture::Fault{};
    EXPECT_THAT(list_of(page_of(session)), HasSubstr("Noise and hum"))
        << "a test that failed has tested nothing";
}

TEST(Page, ASimulatedBenchIsMarkedOnThePageAndOnEachPlot) {
    Session session = hand_made::many_verdicts();
    const Plots plots = drawings_of(session);
    ASSERT_FALSE(plots.empty());
    for (const auto& [file, svg] : plots) {
        EXPECT_THAT(svg, HasSubstr("SIMULATED BENCH"));
        EXPECT_THAT(svg, HasSubstr("shows no real unit"));
    }
    const std::string page = certificate_page(session, plots);
    EXPECT_THAT(page, HasSubstr("SIMULATED BENCH – shows no real unit"));
    EXPECT_THAT(page, HasSubstr("class=\"across\""));
    session.simulated = false;
    EXPECT_THAT(page_of(session), Not(HasSubstr("SIMULATED")));
}

TEST(Page, HostileTextsStayTexts) {
    const Session session = hand_made::hostile();
    const Plots plots = drawings_of(session);
    const std::string page = certificate_page(session, plots);
    EXPECT_THAT(page, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;"));
    EXPECT_THAT(page, HasSubstr("{{title}}")) << "shown as it is, not filled in";
    for (const std::string& text : {page, plots.at(0).second}) {
        // The page has its own script, once and with nothing else in the tag.
        EXPECT_EQ(count(text, "<script"), text.starts_with("<!doctype") ? 1 : 0);
        EXPECT_EQ(text.find('\x1b'), std::string::npos);
        EXPECT_EQ(text.find('\x01'), std::string::npos);
        EXPECT_EQ(text.find("\u202E"), std::string::npos);
        EXPECT_EQ(text.find('\xff'), std::string::npos);
    }
    // The number goes into the style sheet, where quotes and braces would end it.
    const std::string style = page.substr(0, page.find("</style>"));
    EXPECT_THAT(style, HasSubstr("content: \"Test certificate A____body___display:_none____"));
    EXPECT_LT(page.size(), 100'000U + plots.at(0).second.size());
    EXPECT_THAT(plots.at(0).second, HasSubstr("&lt;script&gt;"));
}

TEST(Page, RulersStayInsideTheirScale) {
    for (const auto& [name, session] : all_sessions()) {
        const std::string page = page_of(session);
        for (const std::string& place : matches(page, R"re((?:left|width):([-\d.]+)%)re")) {
            EXPECT_GE(std::stod(place), 0.0) << name;
            EXPECT_LE(std::stod(place), 100.0 + (place == "150" ? 50.0 : 0.0)) << name;
        }
    }
}

TEST(Plot, TextsOfUsersNeverReachGnuplotAndOnesLikeMarksAreLeftAlone) {
    PlotTexts texts;
    const std::string first = texts.mark("`touch x`'\n zq1qz");
    const std::string second = texts.mark("zq0qz & <b>");
    EXPECT_TRUE(std::regex_match(first, std::regex("zq0qz_*")));
    EXPECT_EQ(texts.put_into("<text>" + first + "</text><text>" + second + "</text> zq7qz"),
              "<text>`touch x`&#39;  zq1qz</text><text>zq0qz &amp; &lt;b&gt;</text> zq7qz");
}

TEST(Plot, ShowsLimitsClaimOnsetAndBothLoads) {
    const Session session = hand_made::amplifier();
    const std::string svg = drawings_of(session).at(0).second;
    for (const char* part :
         {"1 % limit", "10 % limit", "claimed 22 W", "clipping begins", "load-a: 49.4 ± 3.0 W at 1 % THD",
          "load-b: 46.4 ± 2.8 W at 1 % THD", "power into the load / W", "distortion (THD) / %"}) {
        EXPECT_THAT(svg, HasSubstr(part));
    }
    EXPECT_THAT(svg, Not(HasSubstr("zq0qz")));
    EXPECT_THAT(inline_svg(svg), testing::StartsWith("<svg"));
    EXPECT_THAT(inline_svg(svg), Not(HasSubstr("http")));
}

TEST(Certificate, IsWrittenWithItsPlots) {
    const Folder folder;
    const auto faults = write_pages(hand_made::amplifier(), folder.path, PageOptions{});
    ASSERT_TRUE(faults.empty()) << faults.front().text;
    EXPECT_THAT(folder.read("certificate.pdf"), testing::StartsWith("%PDF-"));
    EXPECT_THAT(folder.read("certificate.png"), testing::StartsWith("\x89PNG"));
    EXPECT_THAT(folder.read("plots/power-4-ohm-level.svg"), HasSubstr("</svg>"));
    EXPECT_THAT(folder.read("certificate.html"), HasSubstr("<figure class=\"lead\"><svg"));
}

TEST(Certificate, WithoutOtherProgramsThePageIsWrittenAndThePackagesAreNamed) {
    const Folder folder;
    const std::string path = std::getenv("PATH") == nullptr ? "" : std::getenv("PATH");
    ::setenv("PATH", folder.path.c_str(), 1);
    const auto faults = write_pages(hand_made::amplifier(), folder.path, PageOptions{});
    ::setenv("PATH", path.c_str(), 1);
    ASSERT_EQ(faults.size(), 2U);
    for (const auto& fault : faults) EXPECT_EQ(fault.kind, capture::FaultKind::bad_arguments);
    EXPECT_THAT(faults[0].mend, HasSubstr("gnuplot-nox"));
    EXPECT_THAT(faults[1].mend, HasSubstr("weasyprint"));
    const std::string page = folder.read("certificate.html");
    EXPECT_THAT(page, HasSubstr("49.4 ± 3.0 W"));
    EXPECT_THAT(page, HasSubstr("gnuplot was not there"));
    EXPECT_THAT(page, Not(HasSubstr("<figure")));
    EXPECT_FALSE(std::filesystem::exists(folder.path / "plots"));
}

}  // namespace
}  // namespace assay::cli
