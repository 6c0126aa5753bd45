// SPDX-License-Identifier: MIT
// Which part of the tree may use which: DESIGN's arrows, as a check on the sources.
#pragma once
#include <string>
#include <vector>

/// One sentence per broken rule: file, line, what stands there, what is allowed. Looks at all C++
/// files below firmware, shared, host and demo of the tree.
[[nodiscard]] std::vector<std::string> broken_arrows(const std::string& root);
