// Slips in a file: a good text, one change, and the line that the reader must answer with.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "capture/fault.h"

namespace assay::cli::helpers {

struct Slip {
    std::string from;  // stands exactly once in the good text
    std::string to;
    std::string text;  // what is wrong, without "NAME:LINE: "; the line is that of `at` in the changed text
    std::string mend;
    std::string at{};  // left out: the first line of `to`
};

inline std::string changed(const std::string& text, const std::string& from, const std::string& to) {
    const std::size_t at = text.find(from);
    EXPECT_NE(at, std::string::npos) << "not in the text: " << from;
    EXPECT_EQ(text.find(from, at + 1), std::string::npos) << "twice in the text: " << from;
    return at == std::string::npos ? text : std::string(text).replace(at, from.size(), to);
}

inline long line_of(const std::string& text, const std::string& needle) {
    const std::size_t at = text.find(needle);
    EXPECT_NE(at, std::string::npos) << needle;
    return 1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n');
}

/// One line, of the right kind, with a line number.
inline void expect_well_formed(const capture::Fault& fault, const std::string& name) {
    EXPECT_EQ(fault.kind, capture::FaultKind::bad_input_file);
    const std::string whole = fault.text + fault.mend;
    EXPECT_EQ(whole.find('\n'), std::string::npos) << whole;
    ASSERT_TRUE(fault.text.starts_with(name + ":")) << fault.text;
    const std::size_t digit = name.size() + 1;
    ASSERT_LT(digit, fault.text.size());
    EXPECT_TRUE(fault.text[digit] >= '1' && fault.text[digit] <= '9') << fault.text;
    EXPECT_FALSE(fault.mend.empty()) << fault.text;
}

template <class Parse>
void expect_slips(const std::string& good, const std::string& name, const std::vector<Slip>& slips,
                  const Parse& parse) {
    for (const Slip& slip : slips) {
        SCOPED_TRACE(slip.to);
        const std::string bad = changed(good, slip.from, slip.to);
        const auto result = parse(bad);
        EXPECT_FALSE(result.has_value());
        if (result) continue;
        expect_well_formed(result.error(), name);
        const long line = line_of(bad, slip.at.empty() ? slip.to : slip.at);
        EXPECT_EQ(result.error().text, name + ":" + std::to_string(line) + ": " + slip.text);
        EXPECT_EQ(result.error().mend, slip.mend);
    }
}

}  // namespace assay::cli::helpers
