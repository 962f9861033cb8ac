// A session that is written, read and written again is the same text, whatever its numbers, its words and its
// bench are: numbers of all digits, absent ones with their reasons, curves with gaps, warnings, conditions.
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "cli/files/bench/bench_file.h"
#include "cli/files/session/session_file.h"
#include "property/drawn_bench.h"
#include "property/played_case.h"
#include "property/same_bench.h"
#include "support/hand_made_sessions.h"

namespace assay::cli {
namespace {

bool same(double one, double other) {
    return one == other || (std::isnan(one) && std::isnan(other));
}

/// What is written is not only told twice alike: nothing is left out of it.
void same_numbers(const Numbers& is, const Numbers& was) {
    RC_ASSERT(is.quantities.size() == was.quantities.size());
    for (std::size_t k = 0; k < was.quantities.size(); ++k) {
        RC_ASSERT(is.quantities[k].first == was.quantities[k].first);
        RC_ASSERT(is.quantities[k].second.value == was.quantities[k].second.value);
        RC_ASSERT(is.quantities[k].second.unit == was.quantities[k].second.unit);
        RC_ASSERT(is.quantities[k].second.contributions == was.quantities[k].second.contributions);
    }
    RC_ASSERT(is.absent.size() == was.absent.size());
    for (std::size_t k = 0; k < was.absent.size(); ++k) {
        RC_ASSERT(is.absent[k].first == was.absent[k].first);
        RC_ASSERT(is.absent[k].second.code == was.absent[k].second.code);
        RC_ASSERT(is.absent[k].second.text == was.absent[k].second.text);
        RC_ASSERT(is.absent[k].second.advice == was.absent[k].second.advice);
    }
    RC_ASSERT(is.warnings.size() == was.warnings.size());
    for (std::size_t k = 0; k < was.warnings.size(); ++k) {
        RC_ASSERT(is.warnings[k].code == was.warnings[k].code);
        RC_ASSERT(is.warnings[k].text == was.warnings[k].text);
        RC_ASSERT(is.warnings[k].advice == was.warnings[k].advice);
    }
    RC_ASSERT(is.curves.size() == was.curves.size());
    for (std::size_t k = 0; k < was.curves.size(); ++k) {
        RC_ASSERT(is.curves[k].first == was.curves[k].first);
        const auto& columns = was.curves[k].second.columns;
        RC_ASSERT(is.curves[k].second.columns.size() == columns.size());
        for (std::size_t c = 0; c < columns.size(); ++c) {
            const analysis::Column& column = is.curves[k].second.columns[c];
            RC_ASSERT(column.name == columns[c].name);
            RC_ASSERT(std::equal(column.values.begin(), column.values.end(), columns[c].values.begin(),
                                 columns[c].values.end(), same));
        }
    }
}

void same_again(const Session& session) {
    const drawn::CaseFolder folder(false);
    const auto written = write_session(session, folder.path());
    RC_ASSERT(written.has_value());
    const auto read = read_session(folder.path());
    if (!read) RC_LOG(read.error().text);
    RC_ASSERT(read.has_value());
    RC_ASSERT(session_text(*read) == session_text(session));
    RC_ASSERT(capture::same_bench(read->bench, session.bench));
    RC_ASSERT(read->tests.size() == session.tests.size());
    for (std::size_t t = 0; t < session.tests.size(); ++t) {
        const TestResult& is = read->tests[t].result;
        const TestResult& was = session.tests[t].result;
        RC_ASSERT(is.conditions == was.conditions);
        same_numbers(is.whole, was.whole);
        RC_ASSERT(is.loads.size() == was.loads.size());
        for (std::size_t k = 0; k < was.loads.size(); ++k) {
            RC_ASSERT(is.loads[k].first == was.loads[k].first);
            same_numbers(is.loads[k].second, was.loads[k].second);
        }
    }
}

std::string words(drawn::Draw& draw) {
    return draw.word({"plain", "\u03a9 \u00fc \u4e2d", "<b>&\"'\\", std::string(500, 'x'),
                      "two\nlines\tand a tab", "../..", "null", "1e999", " "});
}

analysis::Quantity quantity(drawn::Draw& draw, const std::string& unit) {
    analysis::Quantity made{draw.any(), unit, {}};
    for (std::size_t s = 0; s < draw.below(5); ++s)
        made.contributions[fmt::format("{}:{}", words(draw), s)] = draw.chance(0.1) ? 0.0 : draw.any();
    return made;
}

void redraw(drawn::Draw& draw, Numbers& numbers) {
    for (auto& [name, value] : numbers.quantities) value = quantity(draw, value.unit);
    for (std::size_t k = 0; k < draw.below(4); ++k) {
        const std::string name = fmt::format("drawn_{}_v", k);
        if (draw.chance(0.5))
            numbers.add(name, quantity(draw, words(draw)));
        else
            numbers.add_absent(name, {"drawn", words(draw), words(draw)});
    }
    for (std::size_t k = 0; k < draw.below(3); ++k) numbers.warn("drawn", words(draw), words(draw));
    for (std::size_t k = 0; k < draw.below(3); ++k) {
        analysis::Curve curve;
        const std::size_t rows = draw.below(20);
        for (std::size_t c = 0; c < 1 + draw.below(4); ++c) {
            curve.columns.push_back({fmt::format("column_{}_hz", c), {}});
            for (std::size_t row = 0; row < rows; ++row)
                curve.columns.back().values.push_back(draw.chance(0.1) ? std::nan("") : draw.any());
        }
        numbers.curves.emplace_back(fmt::format("drawn-{}", k), curve);
    }
}

}  // namespace

RC_GTEST_PROP(SessionText, WrittenReadAndWrittenItIsTheSame, ()) {
    drawn::Draw draw = drawn::any_draw();
    static const std::vector<Session> kinds{hand_made::amplifier(), hand_made::driver(), hand_made::line(),
                                            hand_made::with_fault(), hand_made::pair_of_inputs()};
    Session session = draw.of(kinds);
    session.unit.condition = words(draw);
    for (TestRecord& test : session.tests) {
        for (std::size_t k = 0; k < draw.below(4); ++k) {
            const std::string name = fmt::format("drawn_{}", k);
            if (draw.chance(0.5))
                test.result.conditions.emplace_back(name, draw.any());
            else
                test.result.conditions.emplace_back(name, words(draw));
        }
        if (test.result.fault) {
            test.result.fault->text = words(draw);
            continue;  // it has no numbers
        }
        for (auto& [load, numbers] : test.result.loads) redraw(draw, numbers);
        redraw(draw, test.result.whole);
    }
    same_again(session);
}

// The bench stands in the session with all that its file may state.
RC_GTEST_PROP(SessionText, AnyBenchInItIsTheSame, ()) {
    drawn::Draw draw = drawn::any_draw();
    const drawn::BenchText text = drawn::bench(draw, 1.0);
    RC_LOG(text.text);
    const auto bench = parse_bench(text.text, "bench.toml");
    RC_PRE(bench.has_value());
    Session session = hand_made::bare();
    session.tests.clear();
    session.claims.clear();
    session.bench = *bench;
    same_again(session);
}

}  // namespace assay::cli
